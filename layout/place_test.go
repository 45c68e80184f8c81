package layout

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestPlace(t *testing.T) {
	tile := Rect{100, 50, 480, 270}
	tests := []struct {
		name           string
		w, h           int
		mode           Mode
		focus          Focus
		source, target Rect
	}{
		{"same aspect", 1920, 1080, Crop, Middle, Rect{0, 0, 1920, 1080}, tile},
		{"portrait cropped", 1080, 1920, Crop, Middle, Rect{0, 656, 1080, 608}, tile},
		{"portrait cropped high", 1080, 1920, Crop, Focus{0.5, 0, 1}, Rect{0, 0, 1080, 608}, tile},
		{"portrait cropped low", 1080, 1920, Crop, Focus{0.5, 1, 1}, Rect{0, 1312, 1080, 608}, tile},
		{"zoom", 1920, 1080, Crop, Focus{0.5, 0.5, 2}, Rect{480, 270, 960, 540}, tile},
		{"zoom into a corner", 1920, 1080, Crop, Focus{1, 1, 2}, Rect{960, 540, 960, 540}, tile},
		{"portrait fitted", 1080, 1920, Fit, Middle, Rect{0, 0, 1080, 1920}, Rect{264, 50, 152, 270}},
		{"4:3 cropped", 640, 480, Crop, Middle, Rect{0, 60, 640, 360}, tile},
		{"odd width", 853, 480, Crop, Middle, Rect{0, 0, 852, 480}, tile},
		{"tiny", 2, 2, Crop, Middle, Rect{0, 0, 2, 2}, tile},
	}
	for _, tt := range tests {
		p, err := Place(tt.w, tt.h, tile, tt.mode, tt.focus)
		if err != nil {
			t.Errorf("%s: %v", tt.name, err)
			continue
		}
		if p.Source != tt.source || p.Target != tt.target {
			t.Errorf("%s: shows %v at %v, want %v at %v", tt.name, p.Source, p.Target, tt.source, tt.target)
		}
	}
}

// TestPlaceProperties: inside, even, centred on the focus where the edges
// allow it, and a circle stays a circle within 2 % as long as the window and
// the target have 100 pixels a side.
func TestPlaceProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 9))
	worst := 0.0
	for range 20000 {
		w, h := 100+r.IntN(4000), 100+r.IntN(4000)
		tile := Rect{2 * r.IntN(900), 2 * r.IntN(500), 2 * (4 + r.IntN(900)), 2 * (4 + r.IntN(500))}
		mode := []Mode{Crop, Fit}[r.IntN(2)]
		f := Focus{r.Float64(), r.Float64(), 1 + 3*r.Float64()}
		p, err := Place(w, h, tile, mode, f)
		if err != nil {
			t.Fatalf("%dx%d in %v, %s %+v: %v", w, h, tile, mode, f, err)
		}
		s, d := p.Source, p.Target
		if (s.X|s.Y|s.W|s.H|d.X|d.Y|d.W|d.H)%2 != 0 {
			t.Fatalf("odd: %v at %v", s, d)
		}
		if !s.Inside(Canvas{w, h}) {
			t.Fatalf("%v reaches outside %dx%d", s, w, h)
		}
		if d.X < tile.X || d.Y < tile.Y || d.Right() > tile.Right() || d.Bottom() > tile.Bottom() {
			t.Fatalf("%v reaches outside the tile %v", d, tile)
		}
		if mode == Crop && d != tile {
			t.Fatalf("crop leaves a part of %v empty: %v", tile, d)
		}
		if mode == Fit && d.W != tile.W && d.H != tile.H {
			t.Fatalf("fit into %v touches no side: %v", tile, d)
		}
		for _, k := range [][4]float64{{f.X, float64(w), float64(s.X), float64(s.W)},
			{f.Y, float64(h), float64(s.Y), float64(s.H)}} {
			centre, free := k[2]+k[3]/2, k[2] > 0 && k[2]+k[3] < k[1]-1
			if free && math.Abs(centre-k[0]*k[1]) > 2 {
				t.Fatalf("window %v of %dx%d is not centred on %+v", s, w, h, f)
			}
		}
		if min(s.W, s.H, d.W, d.H) >= 100 {
			worst = max(worst, math.Abs(p.Distortion()))
		}
	}
	if worst > 0.02 {
		t.Errorf("a circle becomes an ellipse by %.1f %%", worst*100)
	}
}

func TestPlaceRefuses(t *testing.T) {
	tile, nan := Rect{0, 0, 64, 36}, math.NaN()
	tests := []struct {
		name string
		w, h int
		tile Rect
		mode Mode
		f    Focus
		want string
	}{
		{"no picture", 1, 100, tile, Crop, Middle, "picture: 1x100 is not within 2 and 16384 pixels a side"},
		{"odd tile", 64, 36, Rect{1, 0, 64, 36}, Crop, Middle, "tile: {1 0 64 36} is not even or has no area"},
		{"no tile", 64, 36, Rect{}, Crop, Middle, "tile: {0 0 0 0} is not even or has no area"},
		{"mode", 64, 36, tile, "stretch", Middle, `fit: "stretch" is neither crop nor fit`},
		{"focus", 64, 36, tile, Crop, Focus{1.2, 0.5, 1}, "focus: 1.2, 0.5 is not within 0 and 1"},
		{"focus NaN", 64, 36, tile, Crop, Focus{nan, 0.5, 1}, "focus: NaN, 0.5 is not within 0 and 1"},
		{"zoom", 64, 36, tile, Crop, Focus{0.5, 0.5, 0.5}, "zoom: 0.5 is not within 1 and 1000"},
		{"zoom NaN", 64, 36, tile, Crop, Focus{0.5, 0.5, nan}, "zoom: NaN is not within 1 and 1000"},
		{"zoom too far", 64, 36, tile, Crop, Focus{0.5, 0.5, 100}, "zoom: 100 leaves nothing of a picture of 64x36"},
	}
	for _, tt := range tests {
		if _, err := Place(tt.w, tt.h, tt.tile, tt.mode, tt.f); err == nil || err.Error() != tt.want {
			t.Errorf("%s: %v, want %q", tt.name, err, tt.want)
		}
	}
}
