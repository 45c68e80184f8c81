package face

import (
	"bytes"
	"encoding/binary"
	"errors"
	"image"
	"image/color"
	_ "image/jpeg" // photographs
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"testing"

	pigo "github.com/esimov/pigo/core"
)

// squares returns a picture of a size with squares, a gradient and noise: enough like
// faces here and there for the search to go deep.
func squares(rng *rand.Rand, w, h int) grey {
	g := grey{w: w, h: h, pix: make([]byte, w*h)}
	for i := range g.pix {
		g.pix[i] = byte(90 + 60*(i%w)/w + rng.IntN(8))
	}
	for range 40 {
		x, y, side, v := rng.IntN(w), rng.IntN(h), 2+rng.IntN(h/4), byte(rng.IntN(256))
		for dy := 0; dy < side && y+dy < h; dy++ {
			for dx := 0; dx < side && x+dx < w; dx++ {
				g.pix[(y+dy)*w+x+dx] = v
			}
		}
	}
	return g
}

// photograph returns a picture of a person, as small as every k-th pixel makes it.
func photograph(t testing.TB, file string, k int) grey {
	t.Helper()
	f, err := os.Open(filepath.Join("../../assemble/intake/testdata/heads", file)) // openly licensed, see there
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	img, _, err := image.Decode(f)
	if err != nil {
		t.Fatal(err)
	}
	b := img.Bounds()
	pix := make([]byte, 0, b.Dx()*b.Dy())
	for y := range b.Dy() {
		for x := range b.Dx() {
			pix = append(pix, color.GrayModel.Convert(img.At(b.Min.X+x, b.Min.Y+y)).(color.Gray).Y)
		}
	}
	return newGrey(b.Dx(), b.Dy(), pix, k)
}

// shortened returns the trained search with its first trees only, which let more pass.
func shortened(t testing.TB, trees uint32) (cascade, *pigo.Pigo) {
	t.Helper()
	each := (uint32(len(trained)) - 16) / binary.LittleEndian.Uint32(trained[12:])
	data := bytes.Clone(trained[:16+trees*each])
	binary.LittleEndian.PutUint32(data[12:], trees)
	c, err1 := unpack(data)
	library, err2 := pigo.NewPigo().Unpack(data)
	if err := errors.Join(err1, err2); err != nil {
		t.Fatal(err)
	}
	return c, library
}

// Differential: the library pigo, whose trained search it is, finds the same squares in
// the same order with the same strengths, bit by bit, in photographs and in drawn
// pictures of several sizes, with all trees and with the first of them.
func TestTheSearchIsThatOfItsLibrary(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 30))
	pictures := []grey{photograph(t, "astronaut.jpg", 2), photograph(t, "officer.jpg", 2), photograph(t, "camera.jpg", 3)}
	for _, size := range [][2]int{{192, 192}, {160, 90}, {90, 160}, {41, 40}, {12, 8}} {
		pictures = append(pictures, squares(rng, size[0], size[1]))
	}
	for trees, fewest := range map[uint32]int{468: 10, 40: 100, 4: 10000} {
		c, library := shortened(t, trees)
		all := 0
		for _, g := range pictures {
			s := newSearcher(c, g.w)
			for _, p := range []pigo.CascadeParams{
				{MinSize: 20, MaxSize: g.h * 4 / 5, ShiftFactor: coarseShift, ScaleFactor: coarseScale},
				{MinSize: 19, MaxSize: 60, ShiftFactor: 0.08, ScaleFactor: 1.1},
				{MinSize: 48, MaxSize: 96, ShiftFactor: 0.08, ScaleFactor: 1.1},
			} {
				p.ImageParams = pigo.ImageParams{Pixels: g.pix, Rows: g.h, Cols: g.w, Dim: g.w}
				want := library.RunCascade(p, 0)
				got := s.search(g, p.MinSize, p.MaxSize, p.ShiftFactor, p.ScaleFactor)
				same := slices.EqualFunc(got, want, func(a found, b pigo.Detection) bool {
					return a.row == b.Row && a.col == b.Col && a.size == b.Scale && a.q == b.Q
				})
				if !same {
					t.Fatalf("%d trees, %dx%d: %d squares, the library finds %d", trees, g.w, g.h, len(got), len(want))
				}
				all += len(got)
			}
		}
		t.Logf("%d trees let %d squares pass", trees, all)
		if all < fewest {
			t.Errorf("%d trees: only %d squares were compared", trees, all)
		}
	}
}

// A file that is no cascade, or not all of one, is refused.
func TestADamagedCascadeIsRefused(t *testing.T) {
	deep := bytes.Clone(trained)
	deep[8] = 200
	for name, data := range map[string][]byte{"nothing": nil, "the head": trained[:16], "short": trained[:len(trained)-1],
		"long": append(bytes.Clone(trained), 0), "deep": deep} {
		if _, err := unpack(data); err == nil {
			t.Errorf("%s is a cascade", name)
		}
	}
}

// BenchmarkSearch searches a whole picture, by this package and by the library.
func BenchmarkSearch(b *testing.B) {
	g := photograph(b, "officer.jpg", 1)
	c, library := shortened(b, 468)
	b.Run("here", func(b *testing.B) {
		s := newSearcher(c, g.w)
		for b.Loop() {
			s.search(g, 20, 288, coarseShift, coarseScale)
		}
	})
	b.Run("library", func(b *testing.B) {
		for b.Loop() {
			library.RunCascade(pigo.CascadeParams{MinSize: 20, MaxSize: 288, ShiftFactor: coarseShift,
				ScaleFactor: coarseScale, ImageParams: pigo.ImageParams{Pixels: g.pix, Rows: g.h, Cols: g.w, Dim: g.w}}, 0)
		}
	})
}
