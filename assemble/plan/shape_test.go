package plan

import (
	"fmt"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout"
)

// searched sets what holds in a manifest that says nothing of tiles.
func searched(p *production.Production) {
	p.Picture.Aspect = production.Aspect{Shapes: layout.AnyShape}
	p.Picture.AutoGutter, p.Picture.AutoMargin, p.Picture.ShortRows = true, true, ""
}

// filmCanvases are those for which shares of the canvas are promised.
var filmCanvases = []layout.Canvas{{W: 1920, H: 1080}, {W: 1080, H: 1920}, {W: 1080, H: 1080}, {W: 1440, H: 1080},
	{W: 2520, H: 1080}, {W: 1280, H: 720}, {W: 640, H: 360}}

// seen is the share of a picture that a tile shows.
func seen(t Tile, p Picture) float64 {
	return float64(t.Source.W*t.Source.H) / float64(p.W*p.H)
}

// TestAtLeastHalfOfEveryPictureIsSeen plans every count to 60, and some beyond,
// with upright pictures among them: half of each is seen, to a pixel, and no tile has a
// ground that its picture does not make.
func TestAtLeastHalfOfEveryPictureIsSeen(t *testing.T) {
	for _, c := range filmCanvases {
		for _, n := range []int{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 17, 23, 31, 47, 61} {
			p := lamplighter(t, n)
			searched(p)
			facts := filmed(p)
			for i, take := range p.Takes {
				if i%3 == 1 {
					pic := facts[take.Name].Picture
					pic.W, pic.H = 720, 1280
				}
			}
			pl, err := New(p, facts, []Want{{Name: "x", Canvas: c}}, Look{})
			if err != nil {
				t.Fatal(err)
			}
			checkTiles(t, pl.Films[0])
			for _, tile := range pl.Films[0].Shots[0].Tiles {
				if s := seen(tile, *facts[tile.Take].Picture); s < 0.49 {
					t.Errorf("%v, %d players: %.3f of %s is seen in %v", c, n, s, tile.Take, tile.Rect)
				}
				if tile.Hole != tile.Rect && tile.Behind != BehindBlur {
					t.Errorf("%v, %d players: nothing is behind %s, %v in %v", c, n, tile.Take, tile.Hole, tile.Rect)
				}
			}
		}
	}
}

// A solo on a film for phones fills it: half of the picture, on its own ground.
func TestASoloFillsAnUprightFilm(t *testing.T) {
	p := lamplighter(t, 3)
	searched(p)
	p.Shots = []production.Shot{{From: at(1), Show: "solo", Take: "take-2"}}
	pl, err := New(p, filmed(p), []Want{{Name: "x", Canvas: layout.Canvas{W: 1080, H: 1920}}}, Look{})
	if err != nil {
		t.Fatal(err)
	}
	tile := pl.Films[0].Shots[1].Tiles[0]
	if fmt.Sprint(tile.Rect, tile.Hole, tile.Source) != "{0 0 1080 1920} {0 352 1080 1214} {320 0 640 720}" ||
		tile.Behind != BehindBlur {
		t.Errorf("tile %v, picture %v of %v, behind %q", tile.Rect, tile.Hole, tile.Source, tile.Behind)
	}
}

// The shape of tiles is a shot's own, or else the deliverable's, or else the
// production's.
func TestWhoseShapeTilesHave(t *testing.T) {
	p := lamplighter(t, 6)
	searched(p)
	p.Shots = []production.Shot{{From: at(1), Show: "tutti"},
		{From: at(3), Show: "tutti", Aspect: production.Aspect{AspectW: 1, AspectH: 1}}}
	c := layout.Canvas{W: 1920, H: 1080}
	pl, err := New(p, filmed(p), []Want{{Name: "a", Canvas: c},
		{Name: "b", Canvas: c, Aspect: production.Aspect{AspectW: 16, AspectH: 9}}}, Look{})
	if err != nil {
		t.Fatal(err)
	}
	shape := func(film, shot int) string {
		r := pl.Films[film].Shots[shot].Tiles[0].Rect
		return fmt.Sprintf("%.1f", float64(r.W)/float64(r.H))
	}
	if got := fmt.Sprint(shape(0, 1), shape(0, 2), shape(1, 1), shape(1, 2)); got != "1.21.01.81.0" {
		t.Errorf("shapes of tiles: %s", got)
	}
}

// TestALateTakeMovesNobodyWhateverItsShape plans a production in which somebody is
// awaited, and again with their picture, upright or not: every other tile stays
// where it was, in every film.
func TestALateTakeMovesNobodyWhateverItsShape(t *testing.T) {
	for _, c := range filmCanvases {
		for _, n := range []int{4, 5, 7, 10, 13, 19, 27, 40} {
			p := lamplighter(t, n)
			searched(p)
			late := p.Takes[n/2].Name
			facts := filmed(p)
			came := *facts[late].Picture
			facts[late] = Facts{Absent: Awaited}
			before := everybodyOf(t, p, facts, c)
			for _, size := range [][2]int{{1280, 720}, {720, 1280}, {640, 480}} {
				came.W, came.H = size[0], size[1]
				facts[late] = Facts{Picture: &came}
				for take, r := range everybodyOf(t, p, facts, c) {
					if r != before[take] {
						t.Fatalf("%v, %d players: %s moves from %v to %v when %s comes with %v", c, n, take,
							before[take], r, late, size)
					}
				}
			}
		}
	}
}

// everybodyOf is where each take stands in the first shot of a rough cut.
func everybodyOf(t *testing.T, p *production.Production, facts map[string]Facts,
	c layout.Canvas) map[string]layout.Rect {
	t.Helper()
	pl, err := New(p, facts, []Want{{Name: "x", Canvas: c, Rough: true}}, Look{})
	if err != nil {
		t.Fatal(err)
	}
	at := map[string]layout.Rect{}
	for _, tile := range pl.Films[0].Shots[0].Tiles {
		at[tile.Take] = tile.Rect
	}
	return at
}
