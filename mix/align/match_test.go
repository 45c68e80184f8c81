package align

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/align/simulate"
	"ripieno/mix/audio"
)

// Two simulated devices of one player: other rooms' reflections, other noise,
// other starts and clocks, one of them coded by a phone.
func TestMatchDevices(t *testing.T) {
	for n, level := range []simulate.Level{simulate.Typical, simulate.Hard} {
		e := simulate.New(uint64(40+n), simulate.Options{Level: level, Players: 1, Seconds: 25, Devices: 2,
			Rate: 16000})
		a, b := e.Takes[0], e.Takes[1]
		m, err := MatchDevices(a.Source(), b.Source())
		if err != nil {
			t.Fatal(err)
		}
		off, drift := apart(e, m)
		if off > 0.0005 {
			t.Errorf("%s: %.3f ms off", level, 1000*off)
		}
		if math.Abs(drift) > 4 || m.DriftErrPPM > 5 {
			t.Errorf("%s: drift %.2f ppm off, error given as %.2f", level, drift, m.DriftErrPPM)
		}
		if !m.Sure() || m.Agree < 7 || m.Spread > 1e-3 {
			t.Errorf("%s: %+v", level, m)
		}
	}
}

// music is a minute of somebody playing, as samples.
func music(t *testing.T, number uint64, seconds float64) []float64 {
	t.Helper()
	e := simulate.New(number, simulate.Options{Level: simulate.Typical, Players: 1, Seconds: seconds, Rate: 16000})
	b, err := audio.ReadAll(e.Takes[0].Source())
	if err != nil {
		t.Fatal(err)
	}
	return b[0]
}

// recorded is what another device with its own clock, level, polarity and
// noise makes of x: its sample k is x at start + k·ratio.
func recorded(x []float64, start, ratio, gain float64, seconds int) []float64 {
	src := make([]float32, len(x))
	for i, v := range x {
		src[i] = float32(v)
	}
	dst := make([]float32, seconds*16000)
	warp(dst, src, start*16000, ratio)
	r := rand.New(rand.NewPCG(8, uint64(len(x))))
	out := make([]float64, len(dst))
	for i, v := range dst {
		out[i] = gain*float64(v) + 2e-4*r.NormFloat64()
	}
	return out
}

func memory(x []float64) audio.Source { return audio.NewMemory(audio.Block{x}, 16000) }

// Clocks far apart, one device starting late or early, stopping early,
// phase turned: the line must still be found.
func TestMatchDevicesExtremes(t *testing.T) {
	x := music(t, 3, 45)
	for _, c := range []struct {
		name         string
		start, ratio float64
		gain         float64
		seconds      int
	}{
		{"late and fast", 21.5, 1 + 450e-6, 0.1, 28},
		{"early and slow", -8.25, 1 - 580e-6, 1.5, 45},
		{"turned", 2, 1, -0.7, 25},
		{"short", 28, 1 + 30e-6, 1, 12},
	} {
		m, err := MatchDevices(memory(x), memory(recorded(x, c.start, c.ratio, c.gain, c.seconds)))
		if err != nil {
			t.Fatal(err)
		}
		for _, at := range []float64{0, float64(c.seconds)} {
			if off := m.OffsetSeconds + at*(1+m.DriftPPM*1e-6) - c.start - at*c.ratio; math.Abs(off) > 0.0005 {
				t.Errorf("%s: %.3f ms off at %g s: %+v", c.name, 1000*off, at, m)
			}
		}
		if !m.Sure() {
			t.Errorf("%s: not sure: %+v", c.name, m)
		}
	}
}

// What is not the same performance must not be called so, whatever it is.
func TestMatchDevicesRefuses(t *testing.T) {
	t.Parallel()
	x := music(t, 3, 18)
	for name, y := range map[string][]float64{
		"another player": music(t, 4, 18),
		"silence":        make([]float64, 10*16000),
		"noise":          recorded(make([]float64, 16000), 0, 1, 1, 12),
		"nothing":        {},
		"half a second":  recorded(x, 20, 1, 1, 1)[:8000],
		"the other half": recorded(x[:len(x)/3], -30, 1, 1, 15),
		"a steady tone":  tone(12, 440),
	} {
		m, err := MatchDevices(memory(x), memory(y))
		if err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if m.Sure() {
			t.Errorf("%s: %+v", name, m)
		}
	}
}

func tone(seconds, hertz float64) []float64 {
	x := make([]float64, int(seconds*16000))
	for i := range x {
		x[i] = 0.3 * math.Sin(2*math.Pi*hertz*float64(i)/16000)
	}
	return x
}

// The order of the two devices may not matter, and each rate must do.
func TestMatchDevicesSymmetry(t *testing.T) {
	t.Parallel()
	e := simulate.New(51, simulate.Options{Level: simulate.Easy, Players: 1, Seconds: 8, Devices: 2})
	a, b := e.Takes[0], e.Takes[1]
	ab, err := MatchDevices(a.Source(), b.Source())
	if err != nil {
		t.Fatal(err)
	}
	ba, err := MatchDevices(b.Source(), a.Source())
	if err != nil {
		t.Fatal(err)
	}
	r := 1 + ab.DriftPPM*1e-6
	for _, at := range []float64{0, 25} {
		there := ab.OffsetSeconds + at*r
		back := ba.OffsetSeconds + there*(1+ba.DriftPPM*1e-6)
		if math.Abs(back-at) > 0.0003 {
			t.Errorf("there and back again moves %g s by %.3f ms", at, 1000*(back-at))
		}
	}
}

func TestMatchDevicesBadSources(t *testing.T) {
	good := memory(tone(1, 440))
	for _, bad := range []audio.Source{audio.NewMemory(audio.NewBlock(1, 5), 100),
		audio.NewMemory(audio.Block{}, 48000)} {
		if _, err := MatchDevices(good, bad); err == nil {
			t.Errorf("rate %d with %d channels should be refused", bad.Rate(), bad.Channels())
		}
	}
}

func BenchmarkMatchDevices(b *testing.B) {
	e := simulate.New(60, simulate.Options{Level: simulate.Typical, Players: 1, Seconds: 60, Devices: 2, Rate: 48000})
	var x [2]audio.Block
	for i, t := range e.Takes {
		var err error
		if x[i], err = audio.ReadAll(t.Source()); err != nil {
			b.Fatal(err)
		}
	}
	for b.Loop() {
		if _, err := MatchDevices(audio.NewMemory(x[0], 48000), audio.NewMemory(x[1], 48000)); err != nil {
			b.Fatal(err)
		}
	}
}
