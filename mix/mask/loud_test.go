package mask

import (
	"math"
	"slices"
	"testing"
)

// toneOf is the power of a tone of so many dB of sound pressure.
func toneOf(hz, db float64) (p [Bands]float64) {
	p[slices.IndexFunc(edges[1:], func(e float64) bool { return hz < e })] = math.Pow(10, (db-asSPL)/10)
	return p
}

// At 1 kHz phon are dB (the definition, ISO 532-1), so that 10 dB double the loudness in sones;
// tones on a contour of ISO 226:2003 are equally loud (60 phon; the values from memory). Bands are
// 100 Hz and more wide, so that the contour is met to 3 dB.
func TestPhon(t *testing.T) {
	for db := 30.0; db <= 80; db += 5 {
		if got := Phon(toneOf(1000, db)); math.Abs(got-db) > 3 {
			t.Errorf("1 kHz at %v dB is %.1f phon", db, got)
		}
	}
	for hz, db := range map[float64]float64{80: 82.1, 160: 72.5, 250: 67.5, 500: 62.1, 2000: 60, 4000: 57.6,
		8000: 71.7} {
		if got := Phon(toneOf(hz, db)); math.Abs(got-60) > 5 {
			t.Errorf("%v Hz at %v dB is %.1f phon, want 60", hz, db, got)
		}
	}
	if Phon([Bands]float64{}) != 0 || Phon(toneOf(1000, -20)) != 0 {
		t.Error("silence is heard")
	}
	// The same power in five bands is louder than in one (Zwicker's critical bands).
	one, five := toneOf(1000, 70), [Bands]float64{}
	for b := 6; b < 11; b++ {
		five[b] = math.Pow(10, (70-asSPL)/10) / 5
	}
	if Phon(five) < Phon(one)+3 {
		t.Errorf("spread over five bands %.1f phon, in one %.1f", Phon(five), Phon(one))
	}
}
