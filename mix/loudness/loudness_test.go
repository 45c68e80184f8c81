package loudness

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
)

// tone is one stretch of a test signal: a 1 kHz sine at a peak level in dBFS.
type tone struct {
	db, seconds float64
}

// stereoTones writes the stretches, in phase on both channels, to a meter and
// returns it.
func stereoTones(rate int, tones ...tone) *Meter {
	m := NewMeter(2, rate)
	writeTones(m, rate, tones...)
	return m
}

func writeTones(m *Meter, rate int, tones ...tone) {
	at := 0
	for _, t := range tones {
		n := int(math.Round(t.seconds * float64(rate)))
		x := sine(1000, math.Pow(10, t.db/20), 0, rate, at, n)
		m.Write(audio.Block{x, x})
		at += n
	}
}

// sine returns n samples of amplitude·sin(2π·hz·t + phase), phase running from
// sample start.
func sine(hz, amplitude, phase float64, rate, start, n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = amplitude * math.Sin(2*math.Pi*hz*float64(start+i)/float64(rate)+phase)
	}
	return x
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s is %.4f, want %.4f ± %g", what, got, want, tolerance)
	}
}

// rates are checked besides the standard's 48 kHz.
var rates = []int{44100, 48000, 96000}

// EBU Tech 3341 v4 table 1, cases 1 to 5: integrated loudness ±0.1 LU; cases 1
// and 2 also momentary and short-term.
func TestTech3341Integrated(t *testing.T) {
	cases := []struct {
		name  string
		want  float64
		tones []tone
	}{
		{"1", -23, []tone{{-23, 20}}},
		{"2", -33, []tone{{-33, 20}}},
		{"3", -23, []tone{{-36, 10}, {-23, 60}, {-36, 10}}},
		{"4", -23, []tone{{-72, 10}, {-36, 10}, {-23, 60}, {-36, 10}, {-72, 10}}},
		{"5", -23, []tone{{-26, 20}, {-20, 20.1}, {-26, 20}}},
	}
	for i, c := range cases {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			rate := rates[i%len(rates)]
			m := stereoTones(rate, c.tones...)
			near(t, "I", float64(m.Integrated()), c.want, 0.1)
			if i < 2 {
				near(t, "M", float64(m.Momentary()), c.want, 0.1)
				near(t, "S", float64(m.ShortTerm()), c.want, 0.1)
			}
		})
	}
}

// EBU Tech 3341 v4 table 1, case 6: 5.0 with −28 dBFS left and right, −24
// centre, −30 at the sides gives −23.0 LUFS.
func TestTech3341FiveChannels(t *testing.T) {
	const rate = 48000
	m := NewMeter(5, rate)
	b := make(audio.Block, 5)
	for c, db := range []float64{-28, -28, -24, -30, -30} {
		b[c] = sine(1000, math.Pow(10, db/20), 0, rate, 0, 20*rate)
	}
	m.Write(b)
	near(t, "I", float64(m.Integrated()), -23, 0.1)
}

// EBU Tech 3341 v4 table 1, case 9: short-term loudness is −23.0 at any time
// after the first 3 s. Case 12: momentary the same after 1 s.
func TestTech3341Steady(t *testing.T) {
	const rate = 48000
	cases := []struct {
		name     string
		cycle    []tone
		repeats  int
		skip     int // steps of 10 ms before the reading counts
		readings func(*Meter) LUFS
	}{
		{"9", []tone{{-20, 1.34}, {-30, 1.66}}, 5, 300, (*Meter).ShortTerm},
		{"12", []tone{{-20, 0.18}, {-30, 0.22}}, 25, 100, (*Meter).Momentary},
	}
	for _, c := range cases {
		m := NewMeter(2, rate)
		var x []float64
		for range c.repeats {
			for _, s := range c.cycle {
				x = append(x, sine(1000, math.Pow(10, s.db/20), 0, rate, len(x), int(math.Round(s.seconds*rate)))...)
			}
		}
		for k := 0; (k+1)*480 <= len(x); k++ {
			part := x[k*480 : (k+1)*480]
			m.Write(audio.Block{part, part})
			if k >= c.skip {
				near(t, "case "+c.name, float64(c.readings(m)), -23, 0.1)
			}
		}
	}
}

// EBU Tech 3341 v4 table 1, cases 10 and 13: a burst of exactly one window
// reads −23.0 wherever it begins.
func TestTech3341BurstAnywhere(t *testing.T) {
	silence := math.Inf(-1)
	for i := range 20 {
		rate := rates[i%len(rates)]
		m := stereoTones(rate, tone{silence, float64(i) * 0.15}, tone{-23, 3}, tone{silence, 1})
		near(t, "case 10 max S", float64(m.MaxS()), -23, 0.1)
		m = stereoTones(rate, tone{silence, float64(i) * 0.02}, tone{-23, 0.4}, tone{silence, 1})
		near(t, "case 13 max M", float64(m.MaxM()), -23, 0.1)
	}
}

// EBU Tech 3341 v4 table 1, cases 15 to 19: true peak +0.2/−0.4 dB.
func TestTech3341TruePeak(t *testing.T) {
	cases := []struct {
		name            string
		amplitude       float64
		divisor, degree float64
		want            float64
	}{
		{"15", 0.50, 4, 0, -6},
		{"16", 0.50, 4, 45, -6},
		{"17", 0.50, 6, 60, -6},
		{"18", 0.50, 8, 67.5, -6},
		{"19", 1.41, 4, 45, 3},
	}
	for _, c := range cases {
		for _, rate := range rates {
			x := sine(float64(rate)/c.divisor, c.amplitude, c.degree*math.Pi/180, rate, 0, rate)
			fade := rate / 100 // 10 ms
			for i := range fade {
				x[i] *= float64(i) / float64(fade)
				x[len(x)-1-i] *= float64(i) / float64(fade)
			}
			m := NewMeter(1, rate)
			m.Write(audio.Block{x})
			if got := float64(m.TruePeak()); got > c.want+0.2 || got < c.want-0.4 {
				t.Errorf("case %s at %d Hz: true peak %.3f dBTP, want %.1f +0.2/−0.4", c.name, rate, got, c.want)
			}
		}
	}
}

// EBU Tech 3342, cases 1 to 4: loudness range ±1 LU.
func TestTech3342(t *testing.T) {
	cases := []struct {
		want   float64
		levels []float64
	}{
		{10, []float64{-20, -30}},
		{5, []float64{-20, -15}},
		{20, []float64{-40, -20}},
		{15, []float64{-50, -35, -20, -35, -50}},
	}
	for i, c := range cases {
		var tones []tone
		for _, db := range c.levels {
			tones = append(tones, tone{db, 20})
		}
		near(t, "LRA", float64(stereoTones(rates[i%len(rates)], tones...).Range()), c.want, 1)
	}
}

// BS.1770-4 annex 1: a 0 dBFS 997 Hz sine in one front channel reads
// −3.01 LUFS; in both it is twice the energy.
func TestAnchor(t *testing.T) {
	for _, rate := range rates {
		x, quiet := sine(997, 1, 0, rate, 0, 5*rate), make([]float64, 5*rate)
		one, both, mono := NewMeter(2, rate), NewMeter(2, rate), NewMeter(1, rate)
		one.Write(audio.Block{x, quiet})
		both.Write(audio.Block{x, x})
		mono.Write(audio.Block{x})
		// The second stage keeps its numerator 1, −2, 1 at every rate, which
		// lets the gain fall by 0.02 dB from 48 to 96 kHz.
		tolerance := 0.01
		if rate > 48000 {
			tolerance = 0.02
		}
		near(t, "one channel", float64(one.Integrated()), -3.01, tolerance)
		near(t, "both channels", float64(both.Integrated()), 0, tolerance)
		near(t, "mono", float64(mono.Integrated()), -3.01, tolerance)
	}
}

// A programme without sound, or shorter than a window, has no loudness, and
// broken samples must not spoil what is around them.
func TestNothingToMeasure(t *testing.T) {
	m := NewMeter(2, 48000)
	if !math.IsInf(float64(m.Integrated()), -1) || !math.IsInf(float64(m.TruePeak()), -1) || m.Range() != 0 {
		t.Errorf("an unused meter reads %v, %v, %v", m.Integrated(), m.TruePeak(), m.Range())
	}
	m.Write(audio.NewBlock(2, 480000))
	if !math.IsInf(float64(m.Integrated()), -1) || !math.IsInf(float64(m.MaxS()), -1) {
		t.Errorf("silence reads %v, max S %v", m.Integrated(), m.MaxS())
	}
	short := stereoTones(48000, tone{-20, 0.3})
	if !math.IsInf(float64(short.Integrated()), -1) || !math.IsInf(float64(short.Momentary()), -1) {
		t.Errorf("0.3 s reads %v, momentary %v", short.Integrated(), short.Momentary())
	}
	near(t, "true peak of 0.3 s", float64(short.TruePeak()), -20, 0.05)

	x := sine(1000, 0.1, 0, 48000, 0, 480000)
	clean, broken := NewMeter(1, 48000), NewMeter(1, 48000)
	clean.Write(audio.Block{x})
	for i, bad := range []float64{math.NaN(), math.Inf(1), math.Inf(-1), 1e300} {
		x[10000*(i+1)] = bad
	}
	broken.Write(audio.Block{x})
	near(t, "with four broken samples", float64(broken.Integrated()), float64(clean.Integrated()), 0.01)
	// A sample that drops to zero makes the wave overshoot beside it.
	near(t, "true peak with four broken samples", float64(broken.TruePeak()), -20, 1.5)
}

// However the programme is cut into writes, every reading is the same bit for
// bit.
func TestBlockSizesDoNotMatter(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const n = 4 * 44100
	b := audio.NewBlock(5, n)
	for c := range b {
		for i := range b[c] {
			b[c][i] = rng.NormFloat64() * 0.1
		}
	}
	whole := NewMeter(5, 44100)
	whole.Write(b)
	for _, size := range []int{1, 63, 441, 5000} {
		m := NewMeter(5, 44100)
		for at := 0; at < n; at += size {
			m.Write(b.Slice(at, min(at+size, n)))
		}
		if m.Integrated() != whole.Integrated() || m.TruePeak() != whole.TruePeak() || m.MaxM() != whole.MaxM() ||
			m.MaxS() != whole.MaxS() || m.Range() != whole.Range() || m.ShortTerm() != whole.ShortTerm() {
			t.Errorf("in blocks of %d: %v %v, whole: %v %v", size, m.Integrated(), m.TruePeak(), whole.Integrated(),
				whole.TruePeak())
		}
	}
}

func BenchmarkMeterStereo(b *testing.B) {
	m := NewMeter(2, 48000)
	rng := rand.New(rand.NewPCG(1, 1))
	block := audio.NewBlock(2, 48000)
	for c := range block {
		for i := range block[c] {
			block[c][i] = rng.NormFloat64() * 0.1
		}
	}
	for b.Loop() {
		m.Write(block)
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "x_real_time")
}
