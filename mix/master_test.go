package mix

import (
	"errors"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/audio/audiotest"
	"ripieno/mix/loudness"
)

func mastering(t *testing.T, open func() (audio.Source, error), target loudness.LUFS,
	ceiling audio.Decibels) (audio.Block, MasterReport) {
	t.Helper()
	src, report, err := Master(open, target, ceiling)
	if err != nil {
		t.Fatal(err)
	}
	b, err := audio.ReadAll(src)
	if err != nil {
		t.Fatal(err)
	}
	return b, report
}

// programme returns a stereo piece with a dynamic of its own: played notes over a
// soft ground, with a loud third part.
func programme(seed uint64, level float64, seconds int) func() (audio.Source, error) {
	n := seconds * rate
	b := audio.Block{tune(seed, level, level/100, n), tune(seed+50, level, level/100, n)}
	ground := pink(seed, level/20, n)
	for c := range b {
		for i := range b[c] {
			b[c][i] += ground[i]
			if i > 2*n/3 {
				b[c][i] *= 2
			}
		}
	}
	return at48(b...)
}

// The loudness after limiting is the target to a tenth, and the true peak
// stays under the ceiling, whether limiting is needed or not. Targets: EBU R
// 128 (−23), streaming of music (−16 and −14, AES TD1008), and a loud one.
func TestMasterReachesTheTarget(t *testing.T) {
	for seed, target := range []loudness.LUFS{-23, -16, -14, -11} {
		for _, level := range []float64{0.02, 2} {
			b, report := mastering(t, programme(uint64(seed), level, 9), target, -1)
			got := meanLoudness(t, b)
			if math.Abs(got-float64(target)) > 0.1 || !report.Reached || report.Reason != "" {
				t.Errorf("level %v, target %v: %.3f LUFS, report %+v", level, target, got, report)
			}
			if math.Abs(got-float64(report.After.Integrated)) > 1e-9 {
				t.Errorf("level %v: the report says %v, the result is %v", level, report.After.Integrated, got)
			}
			if report.After.TruePeak > -1 {
				t.Errorf("level %v, target %v: true peak %.3f dBTP", level, target, float64(report.After.TruePeak))
			}
			if report.Passes > 7 {
				t.Errorf("level %v, target %v: %d passes", level, target, report.Passes)
			}
		}
	}
}

// Random programmes: any level, any dynamic, any sensible target.
func TestMasterOnRandomProgrammes(t *testing.T) {
	rng := rand.New(rand.NewPCG(77, 1))
	for range 5 {
		seed, level := rng.Uint64N(1000), math.Pow(10, rng.Float64()*3-2)
		target := loudness.LUFS(-24 + rng.Float64()*10)
		ceiling := audio.Decibels(-3 + rng.Float64()*2.5)
		b, report := mastering(t, programme(seed, level, 6), target, ceiling)
		if got := meanLoudness(t, b); math.Abs(got-float64(target)) > 0.1 && report.Reached {
			t.Errorf("seed %d: %.3f LUFS, target %v, and the report says reached", seed, got, target)
		} else if !report.Reached && report.Reason == "" {
			t.Errorf("seed %d: not reached and no reason: %+v", seed, report)
		}
		if report.After.TruePeak > ceiling {
			t.Errorf("seed %d: true peak %v, ceiling %v", seed, report.After.TruePeak, ceiling)
		}
	}
}

// What cannot be reached is said, and the programme stays whole.
func TestMasterSaysWhatItCannotReach(t *testing.T) {
	sparse := make([]float64, 10*rate)
	for i := 0; i < len(sparse); i += rate / 20 {
		sparse[i] = 0.9
	}
	broken := tune(1, 0.3, 1e-3, 5*rate)
	for i := range broken {
		if i%3 == 0 {
			broken[i] = math.NaN()
		}
	}
	cases := []struct {
		name   string
		open   func() (audio.Source, error)
		target loudness.LUFS
		reason string
	}{
		{"silence", at48(make([]float64, 5*rate), make([]float64, 5*rate)), -16, "no loudness"},
		{"0.3 s", at48(sine(440, 0.5, rate*3/10)), -16, "no loudness"},
		{"nothing", at48(nil, nil), -16, "no loudness"},
		{"very soft", at48(sine(440, 1e-3, 5*rate)), -16, "too soft"},
		{"impulses", at48(sparse), -9, "leave no room"},
	}
	for _, c := range cases {
		b, report := mastering(t, c.open, c.target, -1)
		if report.Reached || !strings.Contains(report.Reason, c.reason) {
			t.Errorf("%s: %+v", c.name, report)
		}
		src, _ := c.open()
		if whole, _ := audio.ReadAll(src); whole.Frames() != b.Frames() {
			t.Errorf("%s: %d frames of %d", c.name, b.Frames(), whole.Frames())
		}
		for _, ch := range b {
			for i, v := range ch {
				if math.IsNaN(v) || math.Abs(v) > 0.8913 {
					t.Fatalf("%s: sample %d is %v", c.name, i, v)
				}
			}
		}
	}
	if b, report := mastering(t, at48(broken), -16, -1); math.IsNaN(float64(report.After.Integrated)) ||
		math.IsNaN(b[0][0]) {
		t.Errorf("NaN in the programme: %+v", report)
	}
	// Clipped input is loud already and is turned down.
	loud := sine(440, 30, 5*rate)
	for i, v := range loud {
		loud[i] = math.Max(-1, math.Min(1, v))
	}
	if _, report := mastering(t, at48(loud), -16, -1); !report.Reached || report.Gain > 0 {
		t.Errorf("clipped: %+v", report)
	}
}

func TestMasterErrors(t *testing.T) {
	broken := errors.New("the disk is gone")
	opened := 0
	for fail := range 4 {
		opened = 0
		_, _, err := Master(func() (audio.Source, error) {
			if opened++; opened > fail {
				return nil, broken
			}
			return audio.NewMemory(audio.Block{sine(440, 0.1, rate)}, rate), nil
		}, -16, -1)
		if fail < 3 && !errors.Is(err, broken) {
			t.Errorf("failing at open %d: %v", fail, err)
		}
	}
	closed := 0
	if _, _, err := Master(func() (audio.Source, error) {
		return &failing{audio.NewMemory(audio.NewBlock(1, 2*rate), rate), rate, broken, &closed}, nil
	}, -16, -1); !errors.Is(err, broken) || closed != 1 {
		t.Errorf("failing in the middle: %v, closed %d times", err, closed)
	}
	for _, bad := range []float64{math.NaN(), math.Inf(-1)} {
		if _, _, err := Master(at48(nil), loudness.LUFS(bad), -1); err == nil {
			t.Errorf("target %v was accepted", bad)
		}
		if _, _, err := Master(at48(nil), -16, audio.Decibels(bad)); err == nil {
			t.Errorf("ceiling %v was accepted", bad)
		}
	}
}

func TestMasterContract(t *testing.T) {
	open := programme(1, 1, 1)
	_, report, err := Master(open, -14, -1)
	if err != nil {
		t.Fatal(err)
	}
	audiotest.Source(t, func() audio.Source {
		src, again, err := Master(open, -14, -1)
		if err != nil || again != report {
			t.Fatalf("%v, %+v", err, again)
		}
		return src
	})
}

// TPDF dither: the error is steady noise of LSB²/4, −93.32 dB under a
// full-scale sine at 16 bits (calculated: LSB²/12 of rounding, LSB²/6 of
// noise), and not related to the signal.
func TestDither(t *testing.T) {
	const n = 1 << 18
	x := sine(997, 0.5, n)
	d, err := audio.ReadAll(Dither(audio.NewMemory(audio.Block{append([]float64{}, x...)}, rate), 16, 1))
	if err != nil {
		t.Fatal(err)
	}
	noise := make([]float64, n)
	var dot float64
	for i, v := range d[0] {
		if whole := v * 32768; whole != math.Trunc(whole) {
			t.Fatalf("sample %d is %v steps", i, whole)
		}
		noise[i] = v - x[i]
		dot += noise[i] * x[i]
	}
	if got := db(rms(noise) * math.Sqrt2); math.Abs(got+93.32) > 0.05 {
		t.Errorf("noise %.3f dB under full scale, want −93.32", got)
	}
	if r := dot / (rms(noise) * rms(x) * n); math.Abs(r) > 0.01 {
		t.Errorf("the error is related to the signal: %v", r)
	}
	// A tone of a third of a step survives; without dither it would be gone.
	quiet := sine(1000, 1.0/32768/3, n)
	d, _ = audio.ReadAll(Dither(audio.NewMemory(audio.Block{quiet}, rate), 16, 2))
	var s, c float64
	for i, v := range d[0] {
		sin, cos := math.Sincos(2 * math.Pi * 1000 * float64(i) / rate)
		s, c = s+v*sin, c+v*cos
	}
	if got := 2 * math.Hypot(s, c) / n * 32768 * 3; math.Abs(got-1) > 0.05 {
		t.Errorf("a tone under one step comes out at %.3f of its level", got)
	}
}

func TestDitherEdges(t *testing.T) {
	x := []float64{2, -2, math.NaN(), math.Inf(1), math.Inf(-1), 0.25}
	d, err := audio.ReadAll(Dither(audio.NewMemory(audio.Block{x}, rate), 24, 1))
	if err != nil {
		t.Fatal(err)
	}
	top := 1 - math.Ldexp(1, -23)
	for i, want := range []float64{top, -1, 0, top, -1, 0.25} {
		if math.Abs(d[0][i]-want) > 2e-7 {
			t.Errorf("sample %d: %v, want %v", i, d[0][i], want)
		}
	}
	audiotest.Source(t, func() audio.Source {
		return Dither(audio.NewMemory(audio.Block{sine(440, 0.3, 9000), sine(441, 0.3, 9000)}, rate), 24, 9)
	})
	if _, err := Dither(audio.NewMemory(audio.Block{{0}}, rate), 4, 1).Read(audio.NewBlock(1, 1)); err == nil {
		t.Error("4 bits were accepted")
	}
}
