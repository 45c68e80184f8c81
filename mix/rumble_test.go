package mix

import (
	"math"
	"math/rand/v2"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
	"ripieno/mix/expand"
)

// The cut follows what is heard: 60 % of the lowest note, where its noise is known and not
// 42 dB under the playing; nothing for who plays low, and nothing where the note is not to be told.
func TestRumbleHz(t *testing.T) {
	for _, c := range []struct {
		lowest, rumble float64
		known          bool
		want           float64
	}{
		{200, 30, true, 120}, {260, 41, true, 156}, {200, 43, true, 0}, {200, 30, false, 0}, {45, 30, true, 0},
		{0, math.Inf(1), true, 0},
	} {
		h := Heard{Noise: denoise.Noise{Known: c.known}, Playing: expand.Playing{Lowest: c.lowest, Rumble: c.rumble}}
		if got := h.RumbleHz(); got != c.want || len(RumbleBands(got)) != int(math.Min(got, 1)) {
			t.Errorf("%+v: %v Hz", c, got)
		}
	}
}

// Butterworth's filter of the second order is 3.01 dB down at its corner and 12.3 dB an octave
// below it (10·log10(1+2⁴)); the note for which the corner was chosen keeps all but 0.53 dB.
func TestRumbleBands(t *testing.T) {
	bands := RumbleBands(120)
	for _, c := range []struct{ hz, want float64 }{{120, -3.01}, {60, -12.30}, {200, -0.53}, {1000, 0}} {
		x := make([]float64, 2*audio.Rate)
		for i := range x {
			x[i] = math.Sin(2 * math.Pi * c.hz * float64(i) / audio.Rate)
		}
		before := power(x[audio.Rate:])
		cascade([]*section{newSection(bands[0])}, audio.Block{x})
		if got := power(x[audio.Rate:]) - before; math.Abs(got-c.want) > 0.05 {
			t.Errorf("%v Hz: %.2f dB, want %.2f", c.hz, got, c.want)
		}
	}
}

// Of a take in a rumbling room the rumble is cut; the same notes alone keep every sample, as nothing
// is cut there.
func TestRumbleIsCut(t *testing.T) {
	_, alone := homemade(0)
	src, err := alone.Open()
	if err != nil {
		t.Fatal(err)
	}
	notes, err := audio.ReadAll(src)
	if err != nil {
		t.Fatal(err)
	}
	rng, low := rand.New(rand.NewPCG(8, 8)), 0.0
	x := make([]float64, len(notes[0]))
	for i := range x {
		low += (rng.NormFloat64() - low) * 2 * math.Pi * 60 / rate // 6 dB an octave from 60 Hz on
		x[i] = notes[0][i] + 0.06*low
	}
	noisy := alone
	noisy.Open = func() (audio.Source, error) { return audio.NewMemory(audio.Block{x}, rate), nil }
	_, h := cleanedBy(t, noisy)
	hz := h.RumbleHz()
	if hz < 120 || hz > 0.6*262 {
		t.Fatalf("cut at %v Hz below notes of 262 Hz and more", hz)
	}
	raw := sounding(t, noisy)
	noisy.EQ = RumbleBands(hz)
	got := sounding(t, noisy)
	want := -10 * math.Log10(1-2/math.Pi*math.Atan(hz/60)) // of a cut that is straight down at its corner
	if less := power(raw[:6*rate]) - power(got[:6*rate]); less > want || less < want-2 {
		t.Errorf("the count-in is %.1f dB softer, want %.1f", less, want)
	}
	if _, h = cleanedBy(t, alone); h.RumbleHz() != 0 {
		t.Errorf("cut at %v Hz in a take without noise", h.RumbleHz())
	}
}
