package plan

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// drawn returns a production drawn at random: from 1 to 500 takes of all shapes,
// some missing, on any canvas, with every setting that moves tiles.
func drawn(t *testing.T, r *rand.Rand) (*production.Production, map[string]Facts, layout.Canvas) {
	t.Helper()
	n := 1 + r.IntN(60)
	if r.IntN(4) == 0 {
		n = 1 + r.IntN(500)
	}
	p := lamplighter(t, n)
	pick := func(of ...string) string { return of[r.IntN(len(of))] }
	p.Picture.Rows = production.Rows(pick("grid", "grid", "sections", "justified"))
	p.Picture.ShortRows = production.Alignment(pick("centred", "spread", "left"))
	p.Picture.Gutter, p.Picture.Margin = r.IntN(30), r.IntN(60)
	aspects := [][2]int{{16, 9}, {4, 3}, {1, 1}, {9, 16}, {239, 100}}
	aspect := aspects[r.IntN(len(aspects))]
	p.Picture.AspectW, p.Picture.AspectH = aspect[0], aspect[1]
	if r.IntN(3) == 0 {
		p.Picture.Aspect = production.Aspect{Shapes: layout.AnyShape}
		p.Picture.ShortRows, p.Picture.AutoGutter = production.Alignment(pick("", "stretch", "centred", "spread",
			"left")), r.IntN(2) == 0
	}
	if r.IntN(3) == 0 {
		p.Picture.SmallestTile = 20 + r.IntN(200)
	}
	for _, s := range []string{"front", "middle", "back"}[:r.IntN(4)] {
		p.Sections = append(p.Sections, production.Section{Name: s})
	}
	heavy := r.IntN(4) == 0
	facts := filmed(p)
	sizes := [][2]int{{1280, 720}, {720, 1280}, {640, 480}, {1079, 1921}, {3840, 2160}}
	for i := range p.Takes {
		take := &p.Takes[i]
		take.Section = pick("", "front", "middle", "back")
		take.Fit = layout.Mode(pick("crop", "fit"))
		take.Crop = production.Crop{X: r.Float64(), Y: r.Float64(), Zoom: 1 + 2*r.Float64()}
		if heavy && r.IntN(12) == 0 {
			take.Weight = 1 + r.IntN(3)
		}
		switch r.IntN(8) {
		case 0:
			facts[take.Name] = Facts{Absent: Awaited}
		default:
			size := sizes[r.IntN(len(sizes))]
			facts[take.Name].Picture.W, facts[take.Name].Picture.H = size[0], size[1]
		}
	}
	if r.IntN(3) == 0 {
		p.Seats = 1 + r.IntN(n)
		for i, k := range r.Perm(n) {
			if r.IntN(2) == 0 {
				p.Takes[i].Seat = k + 1
			}
		}
	}
	p.Shots = []production.Shot{{From: at(1), Show: "tutti"}, {From: at(3), Show: "soli", Section: "front"},
		{From: at(5), Show: "solo", Take: p.Takes[r.IntN(n)].Name},
		{From: at(6), Show: "tutti", Transition: production.Transition{Kind: "move", Seconds: 0.5}}}
	if !hasSection(p, "front") {
		p.Shots[1] = production.Shot{From: at(3), Show: "tutti"}
	}
	canvases := []layout.Canvas{{W: 1920, H: 1080}, {W: 1080, H: 1920}, {W: 1080, H: 1080}, {W: 1440, H: 1080},
		{W: 3840, H: 2160},
		{W: 2 * (100 + r.IntN(1500)), H: 2 * (100 + r.IntN(1500))}}
	return p, facts, canvases[r.IntN(len(canvases))]
}

func hasSection(p *production.Production, name string) bool {
	for _, t := range p.Takes {
		if t.Section == name {
			return true
		}
	}
	return false
}

// Whatever the manifest: tiles are even, inside the margin and apart by the
// gutter, every take of a shot has one tile, what is shown of a picture lies
// inside it, equal grids have the largest tiles that any number of columns
// gives, and the same input gives the same plan.
func TestPlansOfRandomProductions(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 500))
	planned, tiles := 0, 0
	for range 250 {
		p, facts, c := drawn(t, r)
		want := []Want{{Name: "x", Canvas: c, Rough: r.IntN(2) == 0}}
		want[0].KeepSeats = !want[0].Rough // no take is left out
		pl, err := New(p, facts, want, Look{})
		if err != nil {
			var f *fault.Fault
			if !errors.As(err, &f) || f.Hint == "" {
				t.Fatalf("%d takes on %v: %v", len(p.Takes), c, err)
			}
			continue
		}
		planned++
		again, err := New(p, facts, want, Look{})
		if err != nil || !reflect.DeepEqual(pl, again) {
			t.Fatalf("%d takes on %v: planned again, it differs (%v)", len(p.Takes), c, err)
		}
		seen := map[string]int{}
		for _, s := range pl.Films[0].Shots {
			tiles += len(s.Tiles)
			checkShot(t, p, facts, c, s)
			for _, tile := range s.Tiles {
				seen[fmt.Sprint(s.Show, " ", tile.Take)]++
			}
			if plain := p.Picture.Rows == "grid" && s.Show == shot.Tutti && s.Sheets == 1 &&
				p.Picture.AspectW > 0; plain && equal(s.Tiles) {
				checkLargest(t, p, c, s)
			}
		}
		for _, take := range p.Takes {
			want := 3 // before measure 1, from it and at the end
			if p.Shots[1].Show == "tutti" {
				want = 4
			}
			if got := seen["tutti "+take.Name]; got != want {
				t.Fatalf("%d takes on %v: %s has %d tiles in %d shots", len(p.Takes), c, take.Name, got, want)
			}
		}
	}
	if planned < 200 {
		t.Errorf("only %d of 250 draws were planned; the draw tests too little", planned)
	}
	t.Logf("%d productions, %d tiles", planned, tiles)
}

func checkShot(t *testing.T, p *production.Production, facts map[string]Facts, c layout.Canvas, s Shot) {
	t.Helper()
	tiles := len(s.Tiles)
	if s.Sheets > 1 {
		tiles = len(p.Takes) // gutters go by all who take turns
	}
	o := gridOptions(p.Picture, p.Picture.Aspect, c, tiles)
	even := func(r layout.Rect) bool { return (r.X|r.Y|r.W|r.H)%2 == 0 }
	within := func(r, q layout.Rect) bool {
		return r.X >= q.X && r.Y >= q.Y && r.Right() <= q.Right() && r.Bottom() <= q.Bottom()
	}
	free := layout.Rect{X: o.Margin, Y: o.Margin, W: c.W - 2*o.Margin, H: c.H - 2*o.Margin}
	for i, a := range s.Tiles {
		if !even(a.Rect) || !within(a.Rect, free) || a.Rect.W < 2 || a.Rect.H < 2 {
			t.Fatalf("%s of %d on %v: tile %v, margin %d", s.Show, len(s.Tiles), c, a.Rect, o.Margin)
		}
		grown := layout.Rect{X: a.Rect.X - o.Gutter, Y: a.Rect.Y - o.Gutter, W: a.Rect.W + 2*o.Gutter,
			H: a.Rect.H + 2*o.Gutter}
		for _, b := range s.Tiles[:i] {
			if grown.Overlaps(b.Rect) {
				t.Fatalf("%s of %d on %v: %v and %v are closer than %d", s.Show, len(s.Tiles), c, a.Rect, b.Rect,
					o.Gutter)
			}
		}
		if a.Card || a.Shown.Len() == 0 {
			continue
		}
		pic := facts[a.Take].Picture
		if !even(a.Hole) || !within(a.Hole, a.Rect) || !even(a.Source) ||
			!within(a.Source, layout.Rect{W: pic.W, H: pic.H}) {
			t.Fatalf("%s: hole %v in %v shows %v of %dx%d", a.Take, a.Hole, a.Rect, a.Source, pic.W, pic.H)
		}
	}
}

func equal(tiles []Tile) bool {
	for _, t := range tiles {
		if t.Rect.W != tiles[0].Rect.W || t.Rect.H != tiles[0].Rect.H {
			return false
		}
	}
	return true
}

// checkLargest holds equal tiles against the best number of columns in real
// numbers; rounding to even sides takes less than 4 pixels of each.
func checkLargest(t *testing.T, p *production.Production, c layout.Canvas, s Shot) {
	t.Helper()
	o := gridOptions(p.Picture, p.Picture.Aspect, c, len(s.Tiles))
	n, ratio := len(s.Tiles), float64(o.AspectW)/float64(o.AspectH)
	best := 0.0
	for cols := 1; cols <= n; cols++ {
		rows := (n + cols - 1) / cols
		w := float64(c.W-2*o.Margin-(cols-1)*o.Gutter) / float64(cols)
		h := float64(c.H-2*o.Margin-(rows-1)*o.Gutter) / float64(rows)
		best = math.Max(best, math.Min(w, h*ratio))
	}
	if got := s.Tiles[0].Rect; float64(got.W) < best-4*math.Max(1, ratio) ||
		float64(got.H) < best/ratio-4*math.Max(1, 1/ratio) {
		t.Errorf("%d on %v: tiles of %v, possible %.1f by %.1f", n, c, got, best, best/ratio)
	}
}
