package mix

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
	"ripieno/mix/denoise"
)

// humming returns mains hum with hiss: 50 Hz, its harmonics, and noise.
func humming(level float64, n int) []float64 {
	rng := rand.New(rand.NewPCG(8, 8))
	x := make([]float64, n)
	for i := range x {
		t := float64(i) / rate
		for h := 1.0; h < 6; h++ {
			x[i] += level / h * math.Sin(2*math.Pi*50*h*t+h)
		}
		x[i] += level / 2 * rng.NormFloat64()
	}
	return x
}

// In a pause hum and hiss fall by the depth asked for; under a loud tone the
// tone keeps its level.
func TestDenoise(t *testing.T) {
	n := 12 * rate
	x, clean := humming(0.003, n), make([]float64, n)
	for i := 6 * rate; i < n; i++ { // a pause, then a tone
		clean[i] = 0.3 * math.Sin(2*math.Pi*440*float64(i)/rate)
		x[i] += clean[i]
	}
	s := Strip{Name: "a", Open: at48(x), LowCut: -1, Pan: -1}
	noise, err := LearnNoise(s)
	if err != nil {
		t.Fatal(err)
	}
	for _, depth := range []audio.Decibels{0, 6, 12} {
		s.Denoise = &Denoise{Noise: noise, Depth: depth}
		y := premaster(t, []Strip{s}, Options{Length: audio.Frames(n)})[0]
		want := float64(depth)
		if depth == 0 {
			want = 8
		}
		pause := db(rms(y[rate:5*rate]) / rms(x[rate:5*rate]))
		if pause > -want+0.7 || pause < -want-0.1 {
			t.Errorf("depth %v: the noise falls by %.2f dB, want %.1f", depth, -pause, want)
		}
		if tone := db(rms(y[7*rate:11*rate]) / rms(clean[7*rate:11*rate])); math.Abs(tone) > 0.05 {
			t.Errorf("depth %v: the tone changes by %.3f dB", depth, tone)
		}
		// The attack of the tone is where it was, to a few percent.
		for i := 6*rate + 1500; i < 6*rate+3000; i++ {
			if math.Abs(y[i]-clean[i]) > 0.03 {
				t.Fatalf("depth %v: sample %d after the attack is %.3f, was %.3f", depth, i-6*rate, y[i], clean[i])
			}
		}
	}
}

// Under plucked notes what is wrong falls too, and what is left of the noise in
// a pause is noise and does not twinkle: the power of its lines spreads as that
// of noise does, whose fourth moment is twice the square of its second
// (the square of a circular Gaussian is exponential).
func TestDenoiseUnderMusic(t *testing.T) {
	n := 14 * rate
	rng := rand.New(rand.NewPCG(5, 5))
	x, clean, noise := make([]float64, n), make([]float64, n), humming(0.002, n)
	for at := 4 * rate; at < 12*rate; at += rate * 2 / 5 {
		hz := 110 * math.Pow(2, float64(rng.IntN(36))/12)
		for h := 1.0; h < 8; h++ {
			phase := 6 * rng.Float64()
			for i := range rate {
				s := float64(i) / rate
				clean[at+i] += 0.1 / h * math.Sin(2*math.Pi*hz*h*s+phase) * math.Exp(-4*h*s) * min(1, 500*s)
			}
		}
	}
	for i := range x {
		x[i] = clean[i] + noise[i]
	}
	s := Strip{Name: "a", Open: at48(x), LowCut: -1, Pan: -1}
	learned, err := LearnNoise(s)
	if err != nil {
		t.Fatal(err)
	}
	s.Denoise = &Denoise{Noise: learned}
	y := premaster(t, []Strip{s}, Options{Length: audio.Frames(n)})[0]
	var before, after float64
	for i := 4 * rate; i < 12*rate; i++ {
		before += (x[i] - clean[i]) * (x[i] - clean[i])
		after += (y[i] - clean[i]) * (y[i] - clean[i])
	}
	if less := 10 * math.Log10(before/after); less < 4.5 {
		t.Errorf("what is wrong under the music falls by %.2f dB", less)
	}
	var second, fourth, lines float64
	spec := denoise.NewSpectrum()
	for at := rate; at+denoise.Size < 4*rate-denoise.Size; at += denoise.Size {
		power := make([]float64, denoise.Lines)
		spec.AddPower(power, y[at:at+denoise.Size])
		for _, p := range power[80:260] { // 1.9 to 6 kHz
			second, fourth, lines = second+p, fourth+p*p, lines+1
		}
	}
	if spread := fourth * lines / (second * second); spread < 1.7 || spread > 2.3 {
		t.Errorf("the lines of what is left spread by %.2f, want 2", spread)
	}
}

// A noise of nothing changes nothing: the frames add up to what went in, in
// place and in length.
func TestDenoiseIsTransparent(t *testing.T) {
	none := &Denoise{Noise: &Noise{rate: rate, power: make([]float64, denoise.Lines)}, Depth: 10}
	for _, n := range []int{0, 1, 500, 512, 2048, 30001} {
		x, y := tune(1, 0.5, 1e-3, n), tune(2, 0.5, 1e-3, n)
		got, err := audio.ReadAll(newHushed(audio.NewMemory(audio.Block{x, y}, rate), none))
		if err != nil || got.Frames() != n {
			t.Fatalf("%d frames became %d, %v", n, got.Frames(), err)
		}
		for i := range x {
			if math.Abs(got[0][i]-x[i]) > 1e-12 || math.Abs(got[1][i]-y[i]) > 1e-12 {
				t.Fatalf("%d frames: sample %d is %v, was %v", n, i, got[0][i], x[i])
			}
		}
		audiotest.Source(t, func() audio.Source {
			return newHushed(audio.NewMemory(audio.Block{x, y}, rate), none)
		})
	}
}

func TestDenoiseErrors(t *testing.T) {
	s := Strip{Name: "a", Open: at48(tune(1, 0.3, 1e-3, rate))}
	noise, err := LearnNoise(s)
	if err != nil {
		t.Fatal(err)
	}
	for _, d := range []*Denoise{{}, {Noise: noise, Depth: -1}, {Noise: noise, Depth: 40}} {
		s.Denoise = d
		if _, err := PreMaster([]Strip{s}, Options{}); err == nil {
			t.Errorf("%+v was accepted", d)
		}
	}
	s.Denoise = &Denoise{Noise: &Noise{rate: 44100, power: noise.power}}
	src, err := PreMaster([]Strip{s}, Options{Length: 100})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := audio.ReadAll(src); err == nil || !strings.Contains(err.Error(), "44100") {
		t.Errorf("noise of another rate: %v", err)
	}
	broken := errors.New("gone")
	closed := 0
	s = Strip{Name: "b", Open: func() (audio.Source, error) {
		return &failing{audio.NewMemory(audio.NewBlock(1, 9000), rate), 5000, broken, &closed}, nil
	}}
	var named *StripError
	if _, err := LearnNoise(s); !errors.As(err, &named) || !errors.Is(err, broken) || closed != 1 {
		t.Errorf("%v, closed %d times", err, closed)
	}
	if n, err := LearnNoise(Strip{Name: "silent", Open: at48(make([]float64, rate))}); err != nil || n.power[10] != 0 {
		t.Errorf("silence has a noise: %v", err)
	}
}
