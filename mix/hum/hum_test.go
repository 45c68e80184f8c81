package hum

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
)

// noisy returns seconds of noise whose power falls with frequency, as that of rooms does.
func noisy(rng *rand.Rand, rate int, seconds float64) []float64 {
	x, low := make([]float64, int(seconds*float64(rate))), 0.0
	for i := range x {
		v := rng.NormFloat64()
		low += (v - low) * 0.02
		x[i] = 0.002*v + 0.02*low
	}
	return x
}

// add adds a tone from one time to another, in seconds.
func add(x []float64, rate int, hz, amplitude, from, to float64) {
	for i := int(from * float64(rate)); i < min(int(to*float64(rate)), len(x)); i++ {
		x[i] += amplitude * math.Sin(2*math.Pi*hz*float64(i)/float64(rate)+hz)
	}
}

// Mains of 50 and 60 Hz, a few hundredths off, are found to 0.02 Hz in noise, beside a voice,
// at the rates that recordings have, in the two channels of one as well; what does not hum
// has none.
func TestFind(t *testing.T) {
	for _, c := range []struct {
		name   string
		rate   int
		mains  float64 // 0: none
		dB     float64 // of the fundamental; the noise round it is some −50 dB
		lines  []int
		beside func(x []float64, rate int)
	}{
		{"50 Hz", 48000, 49.96, -40, []int{1, 2, 3, 5}, nil},
		{"60 Hz", 44100, 60.03, -40, []int{1, 2, 4}, nil},
		{"a rectifier", 48000, 50.02, -46, []int{2, 4, 6}, nil},
		{"60 Hz, soft", 96000, 60, -56, []int{1, 2}, nil},
		{"under a voice for a third of the time", 48000, 50, -46, []int{1, 2, 3}, func(x []float64, rate int) {
			for n := 1.0; n < 12; n++ {
				add(x, rate, 104*n, 0.1/n, 3, 6)
			}
		}},
		{"noise alone", 48000, 0, 0, nil, nil},
		{"a drone on G", 48000, 0, 0, nil, func(x []float64, rate int) {
			for n := 1.0; n < 6; n++ { // 98.00, 196.00, 293.99: the nearest to multiples of 50
				add(x, rate, 97.999*n, 0.05/n, 0, 10)
			}
		}},
		{"a drone on B", 44100, 0, 0, nil, func(x []float64, rate int) {
			for n := 1.0; n < 6; n++ { // 61.74: the nearest to 60
				add(x, rate, 61.735*n, 0.05/n, 0, 10)
			}
		}},
		{"one tone of 100 Hz", 48000, 0, 0, nil, func(x []float64, rate int) { add(x, rate, 100, 0.05, 0, 10) }},
	} {
		x := noisy(rand.New(rand.NewPCG(7, uint64(c.rate))), c.rate, 10)
		for _, n := range c.lines {
			add(x, c.rate, float64(n)*c.mains, math.Pow(10, (c.dB-4*float64(n-c.lines[0]))/20), 0, 10)
		}
		if c.beside != nil {
			c.beside(x, c.rate)
		}
		got, err := Find(audio.NewMemory(audio.Block{x, x}, c.rate), int64(len(x)))
		if err != nil || len(got) != len(c.lines) {
			t.Errorf("%s: %v, %v; want %d lines", c.name, got, err, len(c.lines))
			continue
		}
		for i, n := range c.lines {
			if want := float64(n) * c.mains; math.Abs(got[i]-want) > 0.02*float64(n) {
				t.Errorf("%s: a line at %.3f Hz, not %.3f", c.name, got[i], want)
			}
		}
	}
}

// Noise is not taken for hum: none of 300 count-ins of the shortest kind.
func TestNoiseDoesNotHum(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 19))
	for i := range 300 {
		x := noisy(rng, 8000, 2.3)
		if got, err := Find(audio.NewMemory(audio.Block{x}, 8000), int64(len(x))); err != nil || len(got) > 0 {
			t.Fatalf("count-in %d hums at %v, %v", i, got, err)
		}
	}
}

// Nothing is found in what is too short, nor behind the place up to which it is looked for.
func TestFindKnowsItsPlace(t *testing.T) {
	x := make([]float64, 10*48000)
	add(x, 48000, 50, 0.1, 3, 10)
	add(x, 48000, 100, 0.1, 3, 10)
	for _, to := range []int64{0, 48000, 3 * 48000} {
		if got, err := Find(audio.NewMemory(audio.Block{x}, 48000), to); err != nil || len(got) > 0 {
			t.Errorf("up to %d: %v, %v", to, got, err)
		}
	}
}

// level returns the power of x in dB.
func level(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return 10 * math.Log10(sum/float64(len(x)))
}

// Hum is gone after two seconds, by 30 dB where the mains are 0.01 Hz off; a note a hertz
// and a half away keeps its level within 0.5 dB, and its attack; one a semitone away
// within 0.05 dB.
func TestNewTakesOutLines(t *testing.T) {
	const rate = 48000
	tone := func(hz, from float64) []float64 {
		x := make([]float64, 6*rate)
		add(x, rate, hz, 0.1, from, 6)
		return x
	}
	filtered := func(x []float64) []float64 {
		b, err := audio.ReadAll(New(audio.NewMemory(audio.Block{slices.Clone(x)}, rate), []float64{50, 100, 300}))
		if err != nil {
			t.Fatal(err)
		}
		return b[0]
	}
	for _, c := range []struct{ hz, from, to float64 }{
		{50, -math.MaxFloat64, -60}, {50.01, -math.MaxFloat64, -30}, {100.5, -3.5, -2}, {98, -0.5, 0.1}, {103.83, -0.1, 0.05},
		{293.66, -0.15, 0.05}, {1000, -0.001, 0.001},
	} {
		x := tone(c.hz, 0)
		if d := level(filtered(x)[2*rate:4*rate]) - level(x[2*rate:4*rate]); d < c.from || d > c.to {
			t.Errorf("%g Hz changes by %.3f dB, want %g to %g", c.hz, d, c.from, c.to)
		}
	}
	for _, hz := range []float64{98, 100, 103.83, 293.66, 300} {
		x := tone(hz, 3)
		first := func(x []float64) float64 { return level(x[3*rate : 3*rate+rate*3/100]) }
		if d := first(filtered(x)) - first(x); math.Abs(d) > 0.5 {
			t.Errorf("the first 30 ms of a note of %g Hz change by %.2f dB", hz, d)
		}
	}
}

// A source without its hum is a source like others.
func TestNewIsASource(t *testing.T) {
	x := noisy(rand.New(rand.NewPCG(3, 3)), 44100, 1)
	open := func() audio.Source {
		return New(audio.NewMemory(audio.Block{slices.Clone(x), slices.Clone(x)}, 44100), []float64{60, 180, 30000})
	}
	audiotest.Source(t, open)
	if src := audio.NewMemory(audio.Block{x}, 44100); New(src, nil) != audio.Source(src) {
		t.Error("without lines a source is another one")
	}
}
