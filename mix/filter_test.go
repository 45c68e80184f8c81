package mix

import (
	"math"
	"testing"

	"ripieno/mix/audio"
)

// gainAt returns what a strip's processing does to a steady tone, in decibels.
func gainAt(t *testing.T, s Strip, hz, amplitude float64) float64 {
	t.Helper()
	n := rate
	s.Name, s.Open, s.Pan = "tone", at48(sine(hz, amplitude, 3*n)), -1
	y := premaster(t, []Strip{s}, Options{Start: audio.Frames(n), Length: audio.Frames(n)})[0]
	return db(rms(y) / (amplitude / math.Sqrt2))
}

// The bands do what their formulas promise: the gain at a bell's centre, far
// inside a shelf, half of it at the shelf's corner, and −3 dB at the corner of
// a low cut (Cookbook formulae for audio equalizer biquad filter coefficients).
func TestBands(t *testing.T) {
	off := -1.0
	cases := []struct {
		name     string
		band     Band
		hz, want float64
	}{
		{"bell centre", Band{Bell, 1000, 6, 2}, 1000, 6},
		{"bell far", Band{Bell, 1000, 6, 2}, 50, 0},
		{"bell cut", Band{Bell, 300, -12, 0}, 300, -12},
		{"low shelf inside", Band{LowShelf, 500, 5, 0}, 25, 5},
		{"low shelf corner", Band{LowShelf, 500, 5, 0}, 500, 2.5},
		{"low shelf outside", Band{LowShelf, 500, 5, 0}, 15000, 0},
		{"high shelf inside", Band{HighShelf, 2000, -8, 0}, 20000, -8},
		{"high shelf corner", Band{HighShelf, 2000, -8, 0}, 2000, -4},
		{"high shelf outside", Band{HighShelf, 2000, -8, 0}, 50, 0},
		{"low cut corner", Band{LowCut, 200, 0, 0}, 200, -3.01},
		{"low cut octave", Band{LowCut, 200, 0, 0}, 100, -12.3},
		{"low cut inside", Band{LowCut, 200, 0, 0}, 4000, 0},
	}
	for _, c := range cases {
		got := gainAt(t, Strip{LowCut: off, EQ: []Band{c.band}}, c.hz, 0.1)
		if math.Abs(got-c.want) > 0.05 {
			t.Errorf("%s: %.3f dB, want %.2f", c.name, got, c.want)
		}
	}
	// The default low cut leaves the lowest string of a double bass alone.
	if got := gainAt(t, Strip{}, 31, 0.1); got < -0.8 {
		t.Errorf("31 Hz lose %.2f dB", -got)
	}
	if got := gainAt(t, Strip{}, 5, 0.1); got > -20 {
		t.Errorf("5 Hz lose only %.2f dB", -got)
	}
}

// Bands in any number and order give the product of their responses: sections
// that share a loop do not disturb each other.
func TestBandsAddUp(t *testing.T) {
	bands := []Band{{Bell, 900, 4, 1}, {LowShelf, 200, -3, 0}, {HighShelf, 5000, 2, 0}, {LowCut, 60, 0, 0},
		{Bell, 2500, -5, 3}}
	for n := range len(bands) + 1 {
		var sum float64
		for _, b := range bands[:n] {
			sum += gainAt(t, Strip{LowCut: -1, EQ: []Band{b}}, 1100, 0.1)
		}
		if got := gainAt(t, Strip{LowCut: -1, EQ: bands[:n]}, 1100, 0.1); math.Abs(got-sum) > 0.01 {
			t.Errorf("%d bands: %.3f dB, one by one %.3f", n, got, sum)
		}
	}
}

// Under the threshold nothing happens; over it the level rises by 1/ratio.
func TestCompressor(t *testing.T) {
	c := &Compressor{Threshold: -20, Ratio: 4, Knee: 2, Release: 0.5}
	s := Strip{LowCut: -1, Compress: c}
	for in, want := range map[float64]float64{-40: 0, -23: 0, -12: -6, -4: -12} {
		// A detector that releases slowly stays a little under the peaks of a
		// sine; its reading is within half a decibel.
		if got := gainAt(t, s, 500, math.Pow(10, in/20)); math.Abs(got-want) > 0.5 {
			t.Errorf("a tone of %v dBFS changes by %.2f dB, want %.1f", in, got, want)
		}
	}
	c.MakeUp = 6
	if got := gainAt(t, s, 500, 0.01); math.Abs(got-6) > 0.01 {
		t.Errorf("make-up of 6 dB gives %.3f", got)
	}
}

// A loud note in a stereo take lowers both sides alike: the image stays.
func TestCompressorIsLinked(t *testing.T) {
	l, r := sine(500, 0.8, 2*rate), sine(700, 0.01, 2*rate)
	s := Strip{Name: "a", Open: at48(l, r), LowCut: -1, Compress: &Compressor{Threshold: -20, Ratio: 4}}
	y := premaster(t, []Strip{s}, Options{Start: rate, Length: rate})
	a, b := db(rms(y[0])/rms(l)), db(rms(y[1])/rms(r))
	if math.Abs(a-b) > 0.2 || a > -8 {
		t.Errorf("left changes by %.2f dB, right by %.2f", a, b)
	}
}

func TestLowCutFor(t *testing.T) {
	for part, want := range map[string]float64{
		"Flute 1": 120, "Double Bass": 31.0 * 2 / 3, "Bass Clarinet": 58.0 * 2 / 3, "Horn in F": 58.0 * 2 / 3,
		"English Horn": 110, "Cello": 65.0 * 2 / 3, "Tuba": 20, "Alto Sax 2": 139.0 * 2 / 3, "Alto": 110,
		"theremin": 20, "": 20,
	} {
		if got := LowCutFor(part); math.Abs(got-want) > 1e-9 {
			t.Errorf("%q: %v Hz, want %v", part, got, want)
		}
	}
	// A name that another contains must come after it, or it hides it.
	for i, a := range lowest {
		if got := LowCutFor(a.name); got != min(max(a.hz*2/3, DefaultLowCut), 120) {
			t.Errorf("entry %d, %q, is hidden by an earlier one", i, a.name)
		}
	}
}

// Every shape has a name that leads back to it, and no other name leads anywhere.
func TestShapesAreParsed(t *testing.T) {
	if n := int(HighShelf) + 1; len(ShapeNames()) != n {
		t.Errorf("%d shapes are listed of %d", len(ShapeNames()), n)
	}
	for i, name := range ShapeNames() {
		if s, ok := ParseShape(name); !ok || s != Shape(i) || s.String() != name {
			t.Errorf("%q is parsed as %v, %t", name, s, ok)
		}
	}
	if s, ok := ParseShape("peak"); ok || Shape(len(shapes)).String() != "none" {
		t.Errorf("an unknown shape is parsed as %v, %t", s, ok)
	}
}
