package tone_test

import (
	"math"
	"testing"

	"ripieno/mix/tone"
)

// A phone whose lows are played gets all of it, one whose lows are noise or that
// hears a room's rumble keeps them.
func TestForPhoneAsksTheRecording(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name string
		e    tone.Evidence
		low  float64
	}{
		{"played, no noise", tone.Evidence{Over: 30, Rumble: nan}, 6},
		{"played, noise looks cut", tone.Evidence{Over: 12, Rumble: 0}, 6},
		{"half played", tone.Evidence{Over: 6, Rumble: 0}, 3},
		{"only noise in the lows", tone.Evidence{Over: 1, Rumble: 0}, 0},
		{"nothing played", tone.Evidence{Over: nan, Rumble: 0}, 0},
		{"rumble of a room: 7 to 9 dB (NC curves, from memory)", tone.Evidence{Over: 30, Rumble: 7}, 0},
	} {
		got := tone.ForPhone(c.e, tone.Usual)
		if got.Low != c.low {
			t.Errorf("%s: %+.1f dB of lows, want %+.1f", c.name, got.Low, c.low)
		}
		if got.Presence >= 0 || got.Presence < -tone.Most || got.Low > tone.Most {
			t.Errorf("%s: %+v is out of bounds", c.name, got)
		}
	}
}

// Pink noise has as much power in every octave; noise that falls by 6 dB an
// octave in level against frequency has 3 dB more in the lower one (definitions).
func TestRumbleOfKnownNoises(t *testing.T) {
	power := func(slope float64) []float64 {
		p := make([]float64, 4096)
		for k := range p[1:] {
			p[k+1] = math.Pow(float64(k+1), slope)
		}
		return p
	}
	for _, c := range []struct{ slope, want float64 }{{0, -3.01}, {-1, 0}, {-2, 3.01}, {-3, 6.02}} {
		// Fine lines: the edges of the octaves fall between them.
		if got := tone.Rumble(power(c.slope), 0.25); math.Abs(got-c.want) > 0.1 {
			t.Errorf("noise f^%g: rumble %.2f dB, want %.2f", c.slope, got, c.want)
		}
	}
	if got := tone.Rumble(make([]float64, 1025), 23.4); !math.IsNaN(got) {
		t.Errorf("no noise: rumble %v, want NaN", got)
	}
}

// Phones that are flat bring the usual correction down, those that cut more bring it to
// the bound; what could not be told counts for nothing.
func TestLearnFromPairs(t *testing.T) {
	nan := math.NaN()
	for _, c := range []struct {
		name          string
		pairs         []tone.Pair
		low, presence float64
	}{
		{"none", nil, 6, -2},
		{"three flat ones", []tone.Pair{{0, 0}, {0.1, 0}, {-0.1, 0}}, 1.5, -0.5},
		{"three that cut and lift", []tone.Pair{{-10, 4}, {-9, 4}, {-11, 4}}, 6, -3.5},
		{"dull ones are not made duller", []tone.Pair{{3, -5}, {3, -5}, {3, -5}}, 1.5, -0.5},
		{"not to be told", []tone.Pair{{nan, nan}}, 6, -2},
	} {
		got := tone.Learn(c.pairs)
		if got.Low != c.low || got.Presence != c.presence || got.Pairs != len(c.pairs) {
			t.Errorf("%s: %+v, want %g and %g", c.name, got, c.low, c.presence)
		}
	}
}
