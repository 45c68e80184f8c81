package limit

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
	"ripieno/mix/loudness"
)

const rate = 48000

func sine(hz, amplitude, phase float64, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Sin(2*math.Pi*hz*float64(i)/rate+phase)
	}
	return x
}

func noise(seed uint64, amplitude float64, n int) []float64 {
	rng := rand.New(rand.NewPCG(seed, 7))
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * rng.NormFloat64()
	}
	return x
}

// music returns a seeded series of struck and blown notes with sudden starts.
func music(seed uint64, n int) []float64 {
	rng := rand.New(rand.NewPCG(seed, 9))
	x := make([]float64, n)
	for at := 0; at < n; at += rate / 10 * (1 + rng.IntN(4)) {
		hz, decay, level := 55*math.Pow(2, rng.Float64()*5), 2+rng.Float64()*20, rng.Float64()*1.5
		for i := at; i < min(n, at+rate); i++ {
			t := float64(i-at) / rate
			v := 0.0
			for h := 1.0; h < 9; h++ {
				v += math.Sin(2*math.Pi*hz*h*t) / h
			}
			x[i] += level * v * math.Exp(-decay*t)
		}
	}
	return x
}

func limited(t testing.TB, b audio.Block, ceiling audio.Decibels) (audio.Block, *Source) {
	t.Helper()
	s := NewSource(audio.NewMemory(b, rate), ceiling)
	out, err := audio.ReadAll(s)
	if err != nil {
		t.Fatal(err)
	}
	return out, s
}

// truePeak returns what a meter with the given oversampling finds, in dBTP.
func truePeak(b audio.Block, factor int) float64 {
	in, high := loudness.NewInterpolator(factor), 0.0
	for _, ch := range b {
		x := append(append(make([]float64, loudness.Reach), ch...), make([]float64, loudness.Reach)...)
		for i := 0; i+2*loudness.Reach <= len(x); i++ {
			high = max(high, math.Abs(x[i]), in.Peak(x[i:]))
		}
	}
	return float64(audio.DecibelsOf(high))
}

// The true peak never exceeds the ceiling, on the programmes that are hardest
// to limit, by a meter of the standard's resolution (4) and by a finer one
// than the limiter's own (16).
func TestCeilingHolds(t *testing.T) {
	const n = 2 * rate
	step := make([]float64, n)
	for i := n / 3; i < n/2; i++ {
		step[i] = 4
	}
	impulses := make([]float64, n)
	for i := 100; i < n; i += 1777 {
		impulses[i] = 3 * float64(1-2*(i%2))
	}
	cases := map[string]audio.Block{
		"white noise":       {noise(1, 0.7, n), noise(2, 0.7, n)},
		"one loud side":     {noise(3, 2, n), noise(4, 0.01, n)},
		"fs/4 45°":          {sine(rate/4, 1.41, math.Pi/4, n)},
		"fs/4 0°":           {sine(rate/4, 2, 0, n)},
		"fs/6 60°":          {sine(rate/6, 1.2, math.Pi/3, n)},
		"19 kHz":            {sine(19000, 1.5, 1, n)},
		"23.5 kHz":          {sine(23500, 1.5, 1, n)}, // a hard start that rings before itself
		"30 Hz":             {sine(30, 3, 0, n)},
		"step":              {step},
		"impulses":          {impulses},
		"music":             {music(5, n), music(6, n)},
		"full scale square": {square(n)},
	}
	for name, b := range cases {
		t.Run(name, func(t *testing.T) {
			out, s := limited(t, b, -1)
			if out.Frames() != b.Frames() {
				t.Fatalf("%d frames became %d", b.Frames(), out.Frames())
			}
			for _, f := range []int{4, 16} {
				if got := truePeak(out, f); got > -1 {
					t.Errorf("true peak %.3f dBTP read %d-fold, ceiling −1", got, f)
				}
			}
			if before := truePeak(b, 4); before > 0 && s.Reduction() > audio.Decibels(-1-before+0.2) {
				t.Errorf("a peak of %.2f dBTP and a reduction of only %.2f dB", before, float64(s.Reduction()))
			}
			if s.Lowered() == 0 {
				t.Error("nothing was lowered")
			}
		})
	}
}

// square returns a full-scale square wave whose edges ring high between samples.
func square(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(1 - 2*(i/25%2))
	}
	return x
}

// What is under the ceiling is not touched, not even in its last bit.
func TestQuietPassesUntouched(t *testing.T) {
	b := audio.Block{noise(1, 0.1, 30000), noise(2, 0.1, 30000)}
	out, s := limited(t, b, 0)
	for c := range b {
		for i := range b[c] {
			if out[c][i] != b[c][i] {
				t.Fatalf("channel %d sample %d: %v became %v", c, i, b[c][i], out[c][i])
			}
		}
	}
	if s.Reduction() != 0 || s.Lowered() != 0 {
		t.Errorf("reduction %v, lowered %v", s.Reduction(), s.Lowered())
	}
}

// A single loud note lowers the gain only around itself: 10 ms before and
// a second after, the programme is as it was.
func TestGainReturns(t *testing.T) {
	x := sine(1000, 0.25, 0, 3*rate)
	for i := rate; i < rate+480; i++ {
		x[i] *= 10
	}
	out, _ := limited(t, audio.Block{x}, -1)
	for i := range x {
		if (i < rate-480 || i > 2*rate+rate/2) && out[0][i] != x[i] {
			t.Fatalf("sample %d, far from the note, went from %v to %v", i, x[i], out[0][i])
		}
	}
	// And it falls and rises smoothly: never by more than 1 % in a sample.
	last, at := 1.0, 0
	for i := range x {
		if math.Abs(x[i]) < 0.05 {
			continue // too near zero to divide by
		}
		g := out[0][i] / x[i]
		if math.Abs(g-last) > 0.01*float64(i-at) {
			t.Fatalf("the gain jumps from %.3f to %.3f at sample %d", last, g, i)
		}
		last, at = g, i
	}
}

func TestSameOutputForAnyBlockSize(t *testing.T) {
	for seed := range uint64(3) {
		b := audio.Block{music(seed, 20000), noise(seed, 0.8, 20000)}
		audiotest.Source(t, func() audio.Source { return New(audio.NewMemory(b, rate), -1.5) })
	}
	audiotest.Source(t, func() audio.Source { return New(audio.NewMemory(audio.NewBlock(1, 0), rate), -1) })
	audiotest.Source(t, func() audio.Source { return New(audio.NewMemory(audio.Block{{2}}, rate), -1) })
}

func TestBrokenSamplesBecomeSilence(t *testing.T) {
	x := noise(1, 0.5, 5000)
	x[100], x[200], x[300] = math.NaN(), math.Inf(1), math.Inf(-1)
	out, _ := limited(t, audio.Block{x}, -1)
	for i, v := range out[0] {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			t.Fatalf("sample %d is %v", i, v)
		}
	}
	if out[0][100] != 0 || out[0][200] != 0 || out[0][300] != 0 {
		t.Errorf("broken samples became %v %v %v", out[0][100], out[0][200], out[0][300])
	}
}

// failing gives some frames, then an error.
type failing struct {
	audio.Source
	err error
}

func (f failing) Read(dst audio.Block) (int, error) {
	n, err := f.Source.Read(dst)
	if n == 0 {
		return 0, f.err
	}
	return n, err
}

func TestErrors(t *testing.T) {
	broken := errors.New("the disk is gone")
	src := New(failing{audio.NewMemory(audio.NewBlock(1, 7000), rate), broken}, -1)
	got, err := audio.ReadAll(src)
	if !errors.Is(err, broken) || got.Frames() != 7000 {
		t.Errorf("%d frames, then %v", got.Frames(), err)
	}
	if _, err := New(audio.NewMemory(audio.NewBlock(1, 10), rate),
		audio.Decibels(math.NaN())).Read(audio.NewBlock(1, 5)); err == nil {
		t.Error("a ceiling of NaN gave no error")
	}
	if _, err := New(audio.NewMemory(audio.NewBlock(1, 10), 100), -1).Read(audio.NewBlock(1, 5)); err == nil {
		t.Error("a rate of 100 Hz gave no error")
	}
	if _, err := New(audio.NewMemory(audio.NewBlock(1, 10), rate), -1).Read(audio.NewBlock(2, 5)); err == nil {
		t.Error("reading one channel into two gave no error")
	}
	out, _ := limited(t, audio.Block{noise(1, 1, 100)}, audio.Decibels(math.Inf(-1)))
	for _, v := range out[0] {
		if v != 0 {
			t.Fatal("a ceiling of −Inf let sound through")
		}
	}
}

// minimum against the plain way.
func TestMinimum(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for _, size := range []int{1, 2, 17, 300} {
		m := newMinimum(size)
		var all []float64
		for i := range 5000 {
			all = append(all, float64(rng.IntN(50)))
			want := math.Inf(1)
			for _, v := range all[max(0, i+1-size):] {
				want = min(want, v)
			}
			if got := m.add(all[i]); got != want {
				t.Fatalf("size %d, value %d: %v, want %v", size, i, got, want)
			}
		}
	}
}

func BenchmarkLimiter(b *testing.B) {
	for _, level := range []float64{0.05, 0.5} {
		b.Run(fmt.Sprintf("noise%.2f", level), func(b *testing.B) {
			block := audio.Block{noise(1, level, rate), noise(2, level, rate)}
			out := audio.NewBlock(2, 4096)
			for b.Loop() {
				s := New(audio.NewMemory(block, rate), -1)
				for {
					if _, err := s.Read(out); err != nil {
						break
					}
				}
			}
			b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "x_real_time")
		})
	}
}
