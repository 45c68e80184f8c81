package face

import (
	"image/color"
	"image/jpeg"
	"os"
	"path/filepath"
	"slices"
	"testing"

	pigo "github.com/esimov/pigo/core"
)

// photograph returns a picture of a person, smaller by a whole factor.
func photograph(t testing.TB, name string, shrink int) grey {
	t.Helper()
	f, err := os.Open(filepath.Join("..", "..", "assemble", "intake", "testdata", "heads", name))
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, err := jpeg.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	w, h := img.Bounds().Dx(), img.Bounds().Dy()
	pix := make([]byte, w*h)
	for i := range pix {
		pix[i] = color.GrayModel.Convert(img.At(i%w, i/w)).(color.Gray).Y
	}
	return newGrey(w, h, pix, shrink)
}

// The library that the cascade was taken from finds the same windows, in the same order
// and with the same scores, whatever the size of picture and faces.
func TestFindsWhatPigoFinds(t *testing.T) {
	library, err := pigo.NewPigo().Unpack(trained)
	if err != nil {
		t.Fatal(err)
	}
	f, err := cascade()
	if err != nil {
		t.Fatal(err)
	}
	s, all := &search{forest: f}, 0
	for _, c := range []struct {
		name                string
		shrink, least, most int
		shift, grow         float64
	}{
		{"astronaut.jpg", 2, 20, 120, coarseShift, coarseScale}, {"officer.jpg", 2, 20, 150, coarseShift, coarseScale},
		{"astronaut.jpg", 2, 48, 96, 0.04, 1.05}, {"camera.jpg", 3, 9, 60, 0.1, 1.1},
	} {
		g := photograph(t, c.name, c.shrink)
		var want []detection
		for _, d := range library.RunCascade(pigo.CascadeParams{
			MinSize: c.least, MaxSize: c.most, ShiftFactor: c.shift, ScaleFactor: c.grow,
			ImageParams: pigo.ImageParams{Pixels: g.pix, Rows: g.h, Cols: g.w, Dim: g.w},
		}, 0) {
			want = append(want, detection{d.Row, d.Col, d.Scale, d.Q})
		}
		// Again from the same search, which has prepared its trees.
		for range 2 {
			if got := s.run(g, c.least, c.most, c.shift, c.grow); !slices.Equal(got, want) {
				t.Errorf("%s: %d windows, the library has %d", c.name, len(got), len(want))
			}
		}
		all += len(want)
	}
	if all < 20 {
		t.Errorf("only %d windows are like a face: hardly anything was compared", all)
	}
}

// A cascade that is cut off or says nonsense is an error and no panic.
func TestBrokenCascade(t *testing.T) {
	deep := slices.Clone(trained[:64])
	deep[8] = 60
	none := slices.Clone(trained[:64])
	none[12], none[13] = 0, 0
	for name, data := range map[string][]byte{
		"nothing": nil, "a header": trained[:16], "cut off": trained[:len(trained)-1], "too deep": deep, "no trees": none,
	} {
		if f, err := readForest(data); err == nil {
			t.Errorf("%s: %d trees", name, len(f.least))
		}
	}
}

// One picture of a take all over, and one place closely.
func BenchmarkSearch(b *testing.B) {
	f, err := cascade()
	if err != nil {
		b.Fatal(err)
	}
	g := photograph(b, "officer.jpg", 1)
	b.Run("pigo", func(b *testing.B) {
		library, _ := pigo.NewPigo().Unpack(trained)
		for b.Loop() {
			library.RunCascade(pigo.CascadeParams{
				MinSize: 20, MaxSize: 252, ShiftFactor: coarseShift, ScaleFactor: coarseScale,
				ImageParams: pigo.ImageParams{Pixels: g.pix, Rows: g.h, Cols: g.w, Dim: g.w},
			}, 0)
		}
	})
	b.Run("ours", func(b *testing.B) {
		for b.Loop() {
			(&search{forest: f}).run(g, 20, 252, coarseShift, coarseScale)
		}
	})
	b.Run("all", func(b *testing.B) {
		for b.Loop() {
			g.all(&search{forest: f})
		}
	})
	b.Run("closely", func(b *testing.B) {
		s := &search{forest: f}
		for b.Loop() {
			g.closely(s, hit{198, 130, 160, 1})
		}
	})
}
