package mix

import (
	"math"
	"math/cmplx"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/tone"
)

// response returns the gain of bands at hz, dB.
func response(bands []Band, hz float64) float64 {
	z := cmplx.Exp(complex(0, -2*math.Pi*hz/audio.Rate))
	h := complex(1, 0)
	for _, b := range bands {
		s := newSection(b)
		h *= (complex(s.b0, 0) + complex(s.b1, 0)*z + complex(s.b2, 0)*z*z) /
			(1 + complex(s.a1, 0)*z + complex(s.a2, 0)*z*z)
	}
	return 20 * math.Log10(cmplx.Abs(h))
}

// The correction of a phone undoes a cut of second order (Butterworth: 10 log(1 +
// (fc/f)⁴) dB) near 110 Hz, never passes its bound, and is at most 0.3 dB wrong
// between the two places it is made for.
func TestToneBandsUndoAPhonesCut(t *testing.T) {
	bands := ToneBands(tone.Correction{Low: 6, Presence: -2})
	for hz := 20.0; hz < 20000; hz *= 1.05 {
		g := response(bands, hz)
		if math.Abs(g) > tone.Most+0.01 {
			t.Errorf("%.0f Hz: %+.2f dB: over the bound", hz, g)
		}
		if hz > 350 && hz < 900 && math.Abs(g) > 0.3 {
			t.Errorf("%.0f Hz: %+.2f dB where a phone has no colour of its own", hz, g)
		}
		if hz > 90 && hz < 300 {
			cut := 10 * math.Log10(1+math.Pow(110/hz, 4))
			if math.Abs(g-cut) > 1 {
				t.Errorf("%.0f Hz: %+.2f dB against a cut of %.2f dB", hz, g, cut)
			}
		}
	}
	if g := response(bands, tone.BellHz); math.Abs(g+2) > 0.1 {
		t.Errorf("presence %+.2f dB, want -2", g)
	}
	if ToneBands(tone.Correction{}) != nil {
		t.Error("no correction has bands")
	}
}

// No attack is softened: the energy of the first 30 ms of notes that begin at once
// is, against what the filters do to the note as it goes on, at most 1 dB less.
func TestToneKeepsAttacks(t *testing.T) {
	bands := ToneBands(tone.Correction{Low: 6, Presence: -2})
	for _, hz := range []float64{58.27, 110, 440, 3200} { // a tuba's B♭ and upward
		b := audio.NewBlock(1, audio.Rate)
		for i := range b[0] {
			b[0][i] = math.Sin(2 * math.Pi * hz * float64(i) / audio.Rate)
		}
		dry := append([]float64(nil), b[0]...)
		var sections []*section
		for _, x := range bands {
			sections = append(sections, newSection(x))
		}
		cascade(sections, b)
		power := func(x []float64) (p float64) {
			for _, v := range x {
				p += v * v
			}
			return p
		}
		first, later := audio.Rate*30/1000, audio.Rate/2
		onset := 10 * math.Log10(power(b[0][:first])/power(dry[:first]))
		steady := 10 * math.Log10(power(b[0][later:])/power(dry[later:]))
		if onset < steady-1 {
			t.Errorf("%.0f Hz: the first 30 ms gain %+.2f dB, the note %+.2f dB", hz, onset, steady)
		}
	}
}

// A phone is told from a microphone that hears the same by what it does to the sound, in
// spite of its own clock, place, level and noise.
func TestCompareHearsThePhone(t *testing.T) {
	_, microphone := homemade(0)
	for _, c := range []struct {
		name  string
		bands []Band
		want  float64 // of presence, dB
	}{
		{"flat", nil, 0},
		{"lifted", []Band{{Shape: Bell, Hz: 3200, Gain: 4, Q: 0.7}}, 4},
	} {
		x := plucked(110, rate/4)
		phoneSound := audio.Block{append(make([]float64, rate/2), x...)}
		for i := range phoneSound[0] {
			phoneSound[0][i] *= 0.3
		}
		var sections []*section
		for _, b := range c.bands {
			sections = append(sections, newSection(b))
		}
		cascade(sections, phoneSound)
		microphone.Drift = 0
		microphone.Open = func() (audio.Source, error) { return audio.NewMemory(audio.Block{x}, rate), nil }
		phone := microphone
		phone.Offset -= 0.5
		phone.Open = func() (audio.Source, error) { return audio.NewMemory(phoneSound, rate), nil }
		piece := Span{6 * rate, 12 * rate}
		h, err := Hear(microphone, piece)
		if err != nil {
			t.Fatal(err)
		}
		got, err := Compare(microphone, phone, h, piece)
		if err != nil {
			t.Fatal(err)
		}
		if math.Abs(got.Presence-c.want) > 0.7 {
			t.Errorf("%s: presence %+.2f dB, want %+.1f", c.name, got.Presence, c.want)
		}
	}
}

// plucked returns 18 s of notes of many partials from second 8 on, every gap frames.
func plucked(hz float64, gap int) []float64 {
	note := make([]float64, 2*rate)
	for i := range note {
		s := float64(i) / rate
		a := 0.02 * math.Exp(-6*s)
		for p := 1.0; p <= 40; p++ {
			note[i] += a / p * math.Sin(2*math.Pi*p*hz*s)
		}
	}
	x := make([]float64, 18*rate)
	for at := 8 * rate; at < 13*rate; at += gap {
		for i, v := range note {
			x[at+i] += v
		}
	}
	return x
}
