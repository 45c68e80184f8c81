package plan

import (
	"fmt"
	"strings"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/shot"
)

// one plans a single film in full HD.
func one1080(t testing.TB, p *production.Production, facts map[string]Facts) Film {
	t.Helper()
	return oneFilm(t, p, facts, fullHD[0])
}

// oneFilm plans a single film.
func oneFilm(t testing.TB, p *production.Production, facts map[string]Facts, w Want) Film {
	t.Helper()
	pl, err := New(p, facts, []Want{w}, Look{})
	if err != nil {
		t.Fatal(err)
	}
	return pl.Films[0]
}

// sound checks what every arrangement must keep: inside, disjoint, even.
func checkTiles(t *testing.T, f Film) {
	t.Helper()
	for _, s := range f.Shots {
		for i, a := range s.Tiles {
			if !a.Rect.Inside(f.Canvas) || (a.Rect.X|a.Rect.Y|a.Rect.W|a.Rect.H)%2 != 0 {
				t.Fatalf("%s: tile %v", s.Show, a.Rect)
			}
			for _, b := range s.Tiles[:i] {
				if a.Rect.Overlaps(b.Rect) {
					t.Fatalf("%s: %v and %v overlap", s.Show, a.Rect, b.Rect)
				}
			}
		}
	}
}

func TestAHeavyTakeHasALargeTileInEverybodysShot(t *testing.T) {
	p := lamplighter(t, 9)
	p.Takes[4].Weight = 2
	p.Shots = []production.Shot{{From: at(1), Show: "tutti"}, {From: at(3), Show: "pair", Take: "take-5",
		Other: "take-1"}}
	f := one1080(t, p, filmed(p))
	checkTiles(t, f)
	tutti, pair := f.Shots[1], f.Shots[2]
	for i, tile := range tutti.Tiles {
		if i != 4 && tile.Rect.W*2 > tutti.Tiles[4].Rect.W {
			t.Errorf("tile %d is %v, the heavy one %v", i, tile.Rect, tutti.Tiles[4].Rect)
		}
	}
	if pair.Tiles[0].Take != "take-5" || pair.Tiles[0].Rect.W != pair.Tiles[1].Rect.W {
		t.Errorf("a pair is %v and %v: both are the same size, in the order written", pair.Tiles[0], pair.Tiles[1])
	}
}

// As an ensemble sits: a section begins a row, in the order of sections:, and
// takes of none come last. Tiles stay in the order of takes.
func TestRowsBySection(t *testing.T) {
	p := lamplighter(t, 10)
	p.Picture.Rows = "sections"
	p.Takes[9].Section = ""
	p.Sections = []production.Section{{Name: "low"}, {Name: "high"}}
	f := one1080(t, p, filmed(p))
	checkTiles(t, f)
	row := map[string][2]int{}
	for i, tile := range f.Shots[0].Tiles {
		if tile.Take != p.Takes[i].Name {
			t.Fatalf("tile %d is of %s", i, tile.Take)
		}
		s := p.Takes[i].Section
		r, seen := row[s]
		if !seen {
			r = [2]int{tile.Rect.Y, tile.Rect.Y}
		}
		row[s] = [2]int{min(r[0], tile.Rect.Y), max(r[1], tile.Rect.Y)}
	}
	if !(row["low"][1] < row["high"][0] && row["high"][1] < row[""][0]) {
		t.Errorf("rows from and to: %v", row)
	}
}

func TestJustifiedRowsKeepEveryPictureWhole(t *testing.T) {
	p := lamplighter(t, 7)
	p.Picture.Rows = "justified"
	facts := filmed(p)
	for _, i := range []int{1, 4} { // held upright
		portrait := *facts[p.Takes[i].Name].Picture
		portrait.W, portrait.H = 720, 1280
		facts[p.Takes[i].Name] = Facts{Picture: &portrait}
	}
	f := one1080(t, p, facts)
	checkTiles(t, f)
	for _, tile := range f.Shots[0].Tiles {
		pic := facts[tile.Take].Picture
		if lost := 1 - float64(tile.Source.W*tile.Source.H)/float64(pic.W*pic.H); lost > 0.02 {
			t.Errorf("%s loses %.1f %% of its picture in %v", tile.Take, 100*lost, tile.Rect)
		}
	}
}

func TestAShortRowIsSpreadWhenAsked(t *testing.T) {
	p := lamplighter(t, 7) // 3, 3 and 1
	p.Shots = []production.Shot{{From: at(1), Show: "tutti"}}
	p.Takes = append(p.Takes, production.Take{Name: "take-8", Fit: "crop",
		Crop: production.Crop{X: .5, Y: .5, Zoom: 1}})
	p.Picture.ShortRows = "spread"
	f := one1080(t, p, filmed(p))
	checkTiles(t, f)
	tiles := f.Shots[1].Tiles
	if tiles[6].Rect.X != tiles[0].Rect.X || tiles[7].Rect.X != tiles[2].Rect.X {
		t.Errorf("the last row is at %d and %d, the first from %d to %d", tiles[6].Rect.X, tiles[7].Rect.X,
			tiles[0].Rect.X, tiles[2].Rect.X)
	}
}

// Tiles below the smallest turn one grid into several that follow each other:
// everybody is seen once, and names come back with every sheet.
func TestAGridTooFineBecomesSheets(t *testing.T) {
	p := lamplighter(t, 60)
	p.Picture.SmallestTile, p.Picture.LabelsFor = 200, 1
	p.Shots = []production.Shot{{From: at(1), Show: "tutti"}, {From: at(5), Show: "solo", Take: "take-2",
		Transition: production.Transition{Kind: "move", Seconds: 0.5}}}
	f := one1080(t, p, filmed(p))
	checkTiles(t, f)
	seen := map[string]int{}
	next := 60 // output frame of measure 1
	var sheets int
	for _, s := range f.Shots {
		if s.Show != shot.Tutti || s.From < 60 || s.To > 300 {
			continue
		}
		sheets = s.Sheets
		if s.From != next || s.LabelsTo != s.From+30 {
			t.Errorf("sheet %d is %v after %d, its names go at %d", s.Sheet, s.Span, next, s.LabelsTo)
		}
		next = s.To
		for _, tile := range s.Tiles {
			seen[tile.Take]++
			if tile.Rect.H < 200 {
				t.Errorf("a tile of %v", tile.Rect)
			}
		}
	}
	if sheets < 2 || next != 300 || len(seen) != 60 {
		t.Errorf("%d sheets to frame %d show %d takes", sheets, next, len(seen))
	}
	for take, n := range seen {
		if n != 1 {
			t.Errorf("%s is seen on %d sheets", take, n)
		}
	}
}

// A take that was expected and comes in moves nobody, however the rows are made.
func TestALateTakeMovesNobody(t *testing.T) {
	for _, rows := range []string{"grid", "sections"} {
		for n := 2; n < 40; n++ {
			p := lamplighter(t, n)
			p.Picture.Rows = production.Rows(rows)
			p.Sections = []production.Section{{Name: "high"}, {Name: "low"}}
			facts := filmed(p)
			seats := fullHD[0]
			seats.KeepSeats = true
			full := oneFilm(t, p, facts, seats)
			late := p.Takes[n/2].Name
			facts[late] = Facts{Absent: Awaited}
			p.Takes[n/2].Expected = true
			before := oneFilm(t, p, facts, seats)
			for i, tile := range full.Shots[0].Tiles {
				if tile.Rect != before.Shots[0].Tiles[i].Rect {
					t.Fatalf("%s, %d takes: %s moves", rows, n, tile.Take)
				}
			}
		}
	}
}

// big returns a production of 500 players and 40 shots of every kind.
func big(t testing.TB) (*production.Production, map[string]Facts) {
	p := lamplighter(t, 500)
	p.Picture.LabelsFor = 0.2
	kinds := []production.Shot{
		{Show: "tutti"}, {Show: "soli", Section: "high"}, {Show: "solo", Take: "take-17"}, {Show: "pair",
			Take: "take-3", Other: "take-400"}, {Show: "card", Text: "title"},
	}
	for i := range 40 {
		s := kinds[i%len(kinds)]
		s.From = production.Time{Seconds: 8 + 0.4*float64(i)}
		if i > 0 {
			s.Transition = production.Transition{Kind: []production.TransitionKind{"cut", "move", "dissolve"}[i%3],
				Seconds: 0.1}
		}
		p.Shots = append(p.Shots, s)
	}
	for i := range p.Takes {
		p.Takes[i].Player, p.Takes[i].Part = fmt.Sprintf("Player Number %d", i), "Part "+strings.Repeat("I", i%3)
	}
	return p, filmed(p)
}

// The aim is 200 ms.
func BenchmarkPlan500Players40Shots(b *testing.B) {
	p, facts := big(b)
	for b.Loop() {
		pl, err := New(p, facts, fullHD, Look{})
		if err != nil {
			b.Fatal(err)
		}
		if len(pl.Films[0].Shots) < 40 {
			b.Fatal("shots are lost")
		}
	}
}

func TestWayEndsBesideTheShots(t *testing.T) {
	a, b := layout.Rect{X: 0, Y: 0, W: 100, H: 60}, layout.Rect{X: 200, Y: 100, W: 400, H: 240}
	for _, p := range []Phases{{0, 10, 0}, {3, 10, 4}} {
		way := func(k int) layout.Rect { return p.Way(a, b, p.Leave+k) }
		if way(-1) != a || way(10) != b || way(0) == a || way(9) == b {
			t.Errorf("%v: the first and last frame of gliding are those of the shots", p)
		}
	}
}

// Text of ASCII is not looked up before the render; every face must have it.
func TestASCIINeedsNoLookingUp(t *testing.T) {
	var all strings.Builder
	for r := ' '; r <= '~'; r++ {
		all.WriteRune(r)
	}
	if missing := card.Missing(all.String()); len(missing) > 0 || !printable(all.String()) || printable("a\tb") ||
		printable("é") {
		t.Errorf("missing %q", string(missing))
	}
}

// One layout serves every size of a shape: at 4K all is twice as large as at
// full HD, to the pixel of rounding.
func TestEveryCanvasHasItsOwnBestGrid(t *testing.T) {
	p := lamplighter(t, 11)
	facts := filmed(p)
	pl, err := New(p, facts, []Want{
		{Name: "hd", Canvas: layout.Canvas{W: 1920, H: 1080}}, {Name: "4k", Canvas: layout.Canvas{W: 3840, H: 2160}},
		{Name: "vertical", Canvas: layout.Canvas{W: 1080, H: 1920}}, {Name: "square",
			Canvas: layout.Canvas{W: 1080, H: 1080}}, {Name: "old", Canvas: layout.Canvas{W: 1440, H: 1080}},
	}, Look{})
	if err != nil {
		t.Fatal(err)
	}
	columns := map[int]bool{}
	for _, f := range pl.Films {
		checkTiles(t, f)
		n := 0
		for _, tile := range f.Shots[0].Tiles {
			if tile.Rect.Y == f.Shots[0].Tiles[0].Rect.Y {
				n++
			}
		}
		columns[n] = true
	}
	if len(columns) < 3 {
		t.Errorf("all canvases have the same columns: %v", columns)
	}
	for i, tile := range pl.Films[0].Shots[0].Tiles {
		if big := pl.Films[1].Shots[0].Tiles[i].Rect; max(big.W-2*tile.Rect.W, 2*tile.Rect.W-big.W,
			big.X-2*tile.Rect.X, 2*tile.Rect.X-big.X) > 12 {
			t.Errorf("tile %d is %v in 4K and %v in HD", i, big, tile.Rect)
		}
	}
}

// A pair is left and right on a wide canvas and one above the other on a high
// one, never smaller than the grid of two.
func TestAPairStandsSideBySide(t *testing.T) {
	p := lamplighter(t, 3)
	p.Shots = []production.Shot{{From: at(1), Show: "pair", Take: "take-3", Other: "take-1"}}
	for _, c := range []struct {
		w, h   int
		beside bool
	}{{1920, 1080, true}, {640, 360, true}, {2390, 1000, true}, {1080, 1920, false}} {
		for _, margin := range []int{0, 20} {
			p.Picture.Margin = margin
			pl, err := New(p, filmed(p), []Want{{Name: "x", Canvas: layout.Canvas{W: c.w, H: c.h}}}, Look{})
			if err != nil {
				t.Fatal(err)
			}
			f := pl.Films[0]
			checkTiles(t, f)
			a, b := f.Shots[1].Tiles[0].Rect, f.Shots[1].Tiles[1].Rect
			if (a.Y == b.Y) != c.beside || c.beside && a.X > b.X || !c.beside && a.Y > b.Y {
				t.Errorf("%dx%d: %v and %v", c.w, c.h, a, b)
			}
		}
	}
}

// soloist returns a production of 12 with a shot of everybody, one of a soloist with
// the others round and one without them.
func soloist(t *testing.T) *production.Production {
	p := lamplighter(t, 12)
	p.Shots = []production.Shot{
		{From: at(1), Show: "tutti"},
		{From: at(3), Show: "solo", Take: "take-5", Others: "around", Transition: production.Transition{Kind: "move",
			Seconds: 0.5}},
		{From: at(5), Show: "solo", Take: "take-5"},
	}
	return p
}

// The soloist's tile is the largest, everybody is there in seat order, all
// glide to their place, and the soloist alone has one tile.
func TestASoloistWithTheOthersAround(t *testing.T) {
	p := soloist(t)
	pl, err := New(p, filmed(p), fullHD, Look{})
	if err != nil {
		t.Fatal(err)
	}
	f := pl.Films[0]
	checkTiles(t, f)
	n := len(f.Shots)
	around, alone := f.Shots[n-2], f.Shots[n-1]
	if len(alone.Tiles) != 1 || len(around.Tiles) != 12 || around.Tiles[0].Take != "take-5" {
		t.Fatalf("%d tiles alone, %d around %s", len(alone.Tiles), len(around.Tiles), around.Tiles[0].Take)
	}
	next := 0
	for _, tile := range around.Tiles[1:] {
		if next++; next == 5 {
			next++
		}
		if tile.Take != fmt.Sprint("take-", next) {
			t.Errorf("%s where take-%d is due", tile.Take, next)
		}
		if tile.Rect.W*3 > around.Tiles[0].Rect.W*2 {
			t.Errorf("%s is %v, the soloist %v", tile.Take, tile.Rect, around.Tiles[0].Rect)
		}
	}
	// The soloist has the right of way.
	list := f.Glides(n - 2)
	if len(list) == 0 || around.Tiles[list[len(list)-1].New].Take != "take-5" {
		t.Errorf("the soloist is not among %d takes that glide", len(list))
	}
}

// Others who would be too small take turns, the soloist stays; no room even for
// one of them is a fault.
func TestOthersRoundASoloistTakeTurns(t *testing.T) {
	p := soloist(t)
	p.Picture.SmallestTile = 300
	pl, err := New(p, filmed(p), fullHD, Look{})
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	sheets := 0
	for _, s := range pl.Films[0].Shots {
		if s.Show != "solo" || len(s.Tiles) == 1 {
			continue
		}
		sheets++
		for _, tile := range s.Tiles {
			seen[tile.Take]++
			if tile.Rect.H < 300 {
				t.Errorf("%s is %d high", tile.Take, tile.Rect.H)
			}
		}
		if s.Sheets != 3 || s.Tiles[0].Rect != pl.Films[0].Shots[len(pl.Films[0].Shots)-2].Tiles[0].Rect {
			t.Errorf("sheet %d of %d, the soloist at %v", s.Sheet, s.Sheets, s.Tiles[0].Rect)
		}
	}
	if sheets != 3 || seen["take-5"] != 3 || len(seen) != 12 || seen["take-12"] != 1 {
		t.Errorf("%d sheets show %v", sheets, seen)
	}
	p.Picture.SmallestTile, p.Shots = 800, p.Shots[1:2]
	p.Shots[0].Transition = production.Transition{}
	if _, err := New(p, filmed(p), fullHD, Look{}); err == nil ||
		!strings.Contains(err.Error(), `there is no room for others round take "take-5"`) {
		t.Errorf("no room: %v", err)
	}
}
