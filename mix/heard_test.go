package mix

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
	"ripieno/mix/tone"
)

// homemade is a strip that plays six notes from guide second 6 on, over noise
// of a level in dB RMS, recorded from guide second -2 on by a clock that runs
// fast; with the notes alone beside it.
func homemade(noise float64) (noisy, alone Strip) {
	const drift = audio.PPM(80)
	clean, room := sixNotes()
	x, gain := make([]float64, len(clean)), math.Pow(10, noise/20)
	for i := range x {
		x[i] = clean[i] + gain*room[i]
	}
	strip := func(x []float64) Strip {
		return Strip{Name: "oboe", Offset: -2, Drift: drift, From: 1, To: 15 * rate,
			Open: func() (audio.Source, error) { return audio.NewMemory(audio.Block{x}, rate), nil }}
	}
	return strip(x), strip(clean)
}

// sixNotes are what homemade plays, and the noise of its room at 0 dB RMS.
var sixNotes = sync.OnceValues(func() (clean, room []float64) {
	const n, drift = 18 * rate, audio.PPM(80)
	rng := rand.New(rand.NewPCG(5, 5))
	clean, room = make([]float64, n), make([]float64, n)
	for k := range 6 {
		at, hz := int((8+float64(k))*rate/drift.Ratio()), 262*math.Pow(2, float64(k)/6)
		for i := at; i < n; i++ {
			t := float64(i-at) / rate
			a := 0.1 * math.Exp(-4*t) * math.Min(1, t/0.005)
			for p := 1.0; p <= 6; p++ {
				clean[i] += a / p * math.Sin(2*math.Pi*p*hz*t)
			}
		}
	}
	for i := range room {
		room[i] = rng.NormFloat64()
	}
	return clean, room
})

// cleanedBy hears a strip whose piece lies from 6 to 12 s and returns it cleaned.
func cleanedBy(t *testing.T, s Strip) (Strip, Heard) {
	t.Helper()
	h, err := Hear(s, Span{6 * rate, 12 * rate})
	if err != nil {
		t.Fatal(err)
	}
	s.Playing = h.Curve(s)
	if d := h.Depth(); d > 0 {
		s.Reduce = &Reduce{&h.Noise, d}
	}
	return s, h
}

// sounding returns the voice of a strip, its frame 0 at guide frame 0.
func sounding(t *testing.T, s Strip) []float64 {
	t.Helper()
	src, from, err := Voice(s)
	if err != nil {
		t.Fatal(err)
	}
	b, err := audio.ReadAll(src)
	if err != nil {
		t.Fatal(err)
	}
	return b[0][-from:]
}

// power returns the RMS of x in dB.
func power(x []float64) float64 {
	sum := 0.0
	for _, v := range x {
		sum += v * v
	}
	return 10 * math.Log10(sum/float64(len(x))+1e-30)
}

// Held against the notes alone, with noise as near as 20 dB: the second before
// the first note is 60 dB down, no onset is softer by a decibel in its first 30
// ms, the last tail is whole to 50 dB under its height.
func TestCleanedAgainstTruth(t *testing.T) {
	for _, noise := range []float64{-75, -60, -50, -45} {
		noisy, alone := homemade(noise)
		s, h := cleanedBy(t, noisy)
		got, raw, want := sounding(t, s), sounding(t, noisy), sounding(t, alone)
		if q := power(got[5*rate:6*rate-rate/10]) - power(raw[5*rate:6*rate-rate/10]); q > -55 {
			t.Errorf("noise %v: only %.1f dB softer before the first note", noise, -q)
		}
		for k := range 6 {
			at := (6+k)*rate - rate/1000
			if lost := power(want[at:at+rate*31/1000]) - power(got[at:at+rate*31/1000]); lost > 1 {
				t.Errorf("noise %v: the onset at %d s is softer by %.2f dB", noise, 6+k, lost)
			}
		}
		// exp(-4t) is 34.7 dB a second: 50 dB under its height after 1.44 s.
		for s := 11.1; s < 12.4; s += 0.05 {
			if g := h.Curve(noisy).DB(audio.FramesAt(s)); g < -1 {
				t.Errorf("noise %v: the last tail is taken down by %.1f dB at %.2f s", noise, -g, s)
				break
			}
		}
		if noise == -75 && h.Depth() != 0 {
			t.Errorf("a clean take is reduced by %.1f dB", float64(h.Depth()))
		}
		if noise == -45 && h.Depth() < 5 {
			t.Errorf("a noisy take is reduced by %.1f dB: distance %.1f", float64(h.Depth()), h.Playing.Distance)
		}
	}
}

// A take without noise is what it was, to the bit, wherever it is played.
func TestCleanTakesStayAsTheyAre(t *testing.T) {
	_, alone := homemade(0)
	s, h := cleanedBy(t, alone)
	got, want := sounding(t, s), sounding(t, alone)
	if h.Depth() != 0 || len(h.Playing.Phrases) == 0 {
		t.Fatalf("depth %v, phrases %v", h.Depth(), h.Playing.Phrases)
	}
	rest := make([]float64, len(want))
	for i := range want {
		rest[i] = got[i] - want[i]
	}
	if r := power(rest) - power(want); r > -60 {
		t.Errorf("the residual is %.1f dB under the take", -r)
	}
	for i := 6*rate - rate/100; i < 12*rate; i++ {
		if got[i] != want[i] {
			t.Fatalf("frame %d is %v and was %v", i, got[i], want[i])
		}
	}
}

// Nothing that is done leaves a tone of its own where nobody plays: no line of the second
// before the first note stands over −60 dB under the loudest line of the playing, and
// none stands 6 dB out of its neighbours.
func TestNoTonesInSilence(t *testing.T) {
	for _, noise := range []float64{-60, -45} {
		noisy, _ := homemade(noise)
		s, h := cleanedBy(t, noisy)
		s.EQ = ToneBands(h.Colour(tone.Usual))
		if len(s.EQ) == 0 {
			t.Fatal("the colour of a phone is left as it is")
		}
		got := sounding(t, s)
		quiet, loud := meanLines(got[4*rate:6*rate-rate/10]), meanLines(got[6*rate:12*rate])
		top, worst := 0.0, 0.0
		for _, p := range loud {
			top = math.Max(top, p)
		}
		for k := 10; k < len(quiet)-10; k++ {
			worst = math.Max(worst, quiet[k])
			around := 0.0
			for j := k - 10; j <= k+10; j++ {
				around += quiet[j] / 21
			}
			// The mean of 90 frames of reduced noise strays by 3 dB in the worst of a thousand
			// lines; a tone that can be told from noise stands out by twice that.
			if quiet[k] > 4*around {
				t.Errorf("noise %v: line %d stands %.1f dB out of its neighbours", noise, k, 10*math.Log10(quiet[k]/around))
			}
		}
		if d := 10 * math.Log10(worst/top); d > -60 {
			t.Errorf("noise %v: a line in silence is %.1f dB under the playing's", noise, -d)
		}
	}
}

// meanLines returns the mean power of the lines of x.
func meanLines(x []float64) []float64 {
	spec, lines := denoise.NewSpectrum(), make([]float64, denoise.Lines)
	for at := 0; at+denoise.Size <= len(x); at += denoise.Hop {
		spec.AddPower(lines, x[at:at+denoise.Size])
	}
	for k := range lines {
		lines[k] /= float64(len(x)/denoise.Hop - 1)
	}
	return lines
}
