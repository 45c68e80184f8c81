package plan

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"testing"

	"ripieno/layout"
	"ripieno/layout/shot"
)

// gridOf returns a shot of tiles in rows of equal tiles.
func gridOf(canvas layout.Canvas, n, columns int) Shot {
	rows := (n + columns - 1) / columns
	w, h := layout.FloorEven(canvas.W/columns), layout.FloorEven(canvas.H/rows)
	var s Shot
	for k := range n {
		s.Tiles = append(s.Tiles, Tile{Take: fmt.Sprint(k), Rect: layout.Rect{X: k % columns * w, Y: k / columns * h,
			W: w, H: h}})
	}
	return s
}

// TestBandsHoldWholeRows: bands cover the canvas without a gap, and every picture is in
// one of them, wholly inside it, whatever the grid and whoever has no picture.
func TestBandsHoldWholeRows(t *testing.T) {
	t.Parallel()
	rnd := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		canvas := layout.Canvas{W: 1920, H: 1080}
		if rnd.IntN(2) == 0 {
			canvas = layout.Canvas{W: 1080, H: 1920}
		}
		n := 1 + rnd.IntN(1200)
		s := gridOf(canvas, n, 1+rnd.IntN(50))
		rnd.Shuffle(n, func(a, b int) { s.Tiles[a], s.Tiles[b] = s.Tiles[b], s.Tiles[a] })
		for i := range s.Tiles {
			if rnd.IntN(10) == 0 {
				s.Tiles[i].Conform = -1
			}
		}
		bands := s.Bands(canvas, UsualBanding)
		if s.pictures() < bandsFrom && bands != nil {
			t.Fatalf("%d pictures in %d bands", s.pictures(), len(bands))
		}
		y := 0
		seen := map[int]bool{}
		for _, b := range bands {
			if b.Rect.Y != y || b.Rect.X != 0 || b.Rect.W != canvas.W || b.Rect.H <= 0 || b.Rect.Y%2 != 0 ||
				b.Rect.H%2 != 0 {
				t.Fatalf("a band at %v, of a canvas of %v done to %d", b.Rect, canvas, y)
			}
			y += b.Rect.H
			if !slices.IsSorted(b.Tiles) {
				t.Fatalf("tiles change their order: %v", b.Tiles)
			}
			rows := map[int]bool{}
			for _, i := range b.Tiles {
				r := s.Tiles[i].Rect
				if seen[i] || s.Tiles[i].Conform < 0 || r.Y < b.Rect.Y || r.Y+r.H > b.Rect.Y+b.Rect.H {
					t.Fatalf("tile %d at %v in a band at %v", i, r, b.Rect)
				}
				seen[i], rows[r.Y] = true, true
			}
			if len(b.Tiles) > bandTiles && len(rows) > 1 {
				t.Fatalf("%d tiles of %d rows in a band", len(b.Tiles), len(rows))
			}
		}
		if bands != nil && (y != canvas.H || len(seen) != s.pictures()) {
			t.Fatalf("%d of %d lines, %d of %d pictures", y, canvas.H, len(seen), s.pictures())
		}
	}
}

// TestBandsOfAThousand: the shot that needs them most.
func TestBandsOfAThousand(t *testing.T) {
	t.Parallel()
	canvas := layout.Canvas{W: 1920, H: 1080}
	if got := gridOf(canvas, 149, 16).Bands(canvas, UsualBanding); got != nil {
		t.Errorf("149 tiles in %d bands", len(got))
	}
	for n, want := range map[int]int{150: 3, 400: 7, 1000: 25} {
		columns := map[int]int{150: 15, 400: 20, 1000: 40}[n]
		if got := gridOf(canvas, n, columns).Bands(canvas, UsualBanding); len(got) != want {
			t.Errorf("%d tiles in %d bands, want %d", n, len(got), want)
		}
	}
}

// TestColumnsAreBandsToo: where columns have unequal numbers of tiles no line passes between
// rows, but between columns, within the rows that there are.
func TestColumnsAreBandsToo(t *testing.T) {
	t.Parallel()
	canvas := layout.Canvas{W: 1920, H: 1080}
	var s Shot
	for x := range 32 {
		n := 31 // a common first and last row, and 29 or 28 between
		if x >= 24 {
			n = 30
		}
		for y := range n {
			r := layout.Rect{X: 60 * x, Y: 34 * y, W: 60, H: 34}
			switch {
			case y == n-1:
				r.Y, r.H = 1046, 34
			case y > 0 && x >= 24:
				r.Y = 2 + 34*y
			}
			s.Tiles = append(s.Tiles, Tile{Rect: r})
		}
	}
	seen, pixels := map[int]bool{}, 0
	bands := s.Bands(canvas, UsualBanding)
	for _, b := range bands {
		if len(b.Tiles) > bandTiles || b.Rect.X%2 != 0 || b.Rect.Y%2 != 0 || b.Rect.W <= 0 || b.Rect.H <= 0 {
			t.Errorf("%d tiles in a band at %v", len(b.Tiles), b.Rect)
		}
		pixels += b.Rect.W * b.Rect.H
		for _, i := range b.Tiles {
			r := s.Tiles[i].Rect
			if seen[i] || r.X < b.Rect.X || r.Y < b.Rect.Y || r.X+r.W > b.Rect.X+b.Rect.W ||
				r.Y+r.H > b.Rect.Y+b.Rect.H {
				t.Errorf("tile %d at %v in a band at %v", i, r, b.Rect)
			}
			seen[i] = true
		}
	}
	if len(bands) != 18 || len(seen) != len(s.Tiles) || pixels != canvas.W*canvas.H {
		t.Errorf("%d bands, %d of %d tiles, %d pixels", len(bands), len(seen), len(s.Tiles), pixels)
	}
}

// TestTilesThatNoLineDividesAreComposedAtOnce: they stand neither in rows nor in columns.
func TestTilesThatNoLineDividesAreComposedAtOnce(t *testing.T) {
	t.Parallel()
	canvas := layout.Canvas{W: 1920, H: 1080}
	var s Shot
	for k := range 200 {
		s.Tiles = append(s.Tiles, Tile{Rect: layout.Rect{X: 8 * k, Y: 4 * k, W: 16, H: 40}})
	}
	if got := s.Bands(canvas, UsualBanding); got != nil {
		t.Errorf("%+v", got)
	}
}

// TestVeryManyTilesDoNotGlide: a transition between shots that are composed in bands
// dissolves.
func TestVeryManyTilesDoNotGlide(t *testing.T) {
	t.Parallel()
	canvas := layout.Canvas{W: 1920, H: 1080}
	for n, glide := range map[int]bool{20: true, 200: false} {
		a, b := gridOf(canvas, n, 20), gridOf(canvas, n, 10)
		for i := range n {
			a.Tiles[i].Hole, b.Tiles[i].Hole = a.Tiles[i].Rect, b.Tiles[i].Rect
			a.Tiles[i].Source = layout.Rect{W: 320, H: 180}
			a.Tiles[i].Fit, b.Tiles[i].Fit = layout.Crop, layout.Crop
			b.Tiles[i].Source = a.Tiles[i].Source
			a.Tiles[i].Shown, b.Tiles[i].Shown = Span{0, 100}, Span{0, 100}
		}
		a.Span, b.Span, b.Into = Span{0, 50}, Span{50, 100}, Transition{Kind: Move, Frames: 10}
		a.Show, b.Show = shot.Tutti, shot.Tutti
		f := Film{Canvas: canvas, Shots: []Shot{a, b}, Conforms: make([]Conform, 1)}
		if got := f.Glides(1); glide != (len(got) > 0) {
			t.Errorf("of %d tiles %d glide", n, len(got))
		}
	}
}
