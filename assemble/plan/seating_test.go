package plan

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout"
)

// everybody returns where each take stands in the first shot of a film.
func everybody(t *testing.T, p *production.Production, c layout.Canvas) map[string]layout.Rect {
	t.Helper()
	pl, err := New(p, filmed(p), []Want{{Name: "x", Canvas: c}}, Look{})
	if err != nil {
		t.Fatal(err)
	}
	checkTiles(t, pl.Films[0])
	at := map[string]layout.Rect{}
	for _, tile := range pl.Films[0].Shots[0].Tiles {
		at[tile.Take] = tile.Rect
	}
	return at
}

// cellsOf tells the rows and columns of tiles that begin at the left.
func cellsOf(at map[string]layout.Rect) map[string]layout.Cell {
	left, top := 1<<30, 1<<30
	for _, r := range at {
		left, top = min(left, r.X), min(top, r.Y)
	}
	cells := map[string]layout.Cell{}
	for name, r := range at {
		cells[name] = layout.Cell{Row: (r.Y - top) / (r.H + 6), Col: (r.X - left) / (r.W + 6)}
	}
	return cells
}

// reach returns how many rows and columns are in use.
func reach(cells map[string]layout.Cell) (rows, cols int) {
	for _, q := range cells {
		rows, cols = max(rows, q.Row+1), max(cols, q.Col+1)
	}
	return rows, cols
}

// pin writes the seats of now into the production, as grid --pin does.
func pin(p *production.Production) {
	places := Places(p)
	if p.Seats == 0 {
		p.Seats = len(p.Takes)
	}
	for i := range p.Takes {
		p.Takes[i].Seat = places[p.Takes[i].Name]
	}
}

// join adds a take that nobody expected at a place of the list.
func join(p *production.Production, at int, name string) {
	p.Takes = slices.Insert(slices.Clone(p.Takes), at, production.Take{Name: name, Fit: "crop",
		Crop: production.Crop{X: .5, Y: .5, Zoom: 1}, Section: "high"})
}

// all canvases here have 1080 lines or columns, so the gutter has 6 pixels.
var seatCanvases = []layout.Canvas{{W: 1920, H: 1080}, {W: 1080, H: 1920}, {W: 1080, H: 1080}, {W: 1440, H: 1080}}

// With seats, players whom nobody expected come in one after the other, each
// with a line anywhere in the manifest, and nobody moves who need not: nobody
// at all, not by a pixel, while the rows and columns stay, and else only those
// whose cell is gone. Without seats a line in the middle moves all behind it.
func TestAnUnexpectedPlayerMovesTheFewest(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 1))
	for _, c := range seatCanvases {
		moved, unseated, steps := 0, 0, 0
		for n := 1; n <= 30; n++ {
			p := lamplighter(t, n)
			p.Picture.ShortRows = "left"
			loose := *p
			pin(p)
			before, was := everybody(t, p, c), everybody(t, &loose, c)
			for k := range 6 {
				place, name := r.IntN(len(p.Takes)+1), fmt.Sprintf("late-%d", k)
				join(p, place, name)
				join(&loose, place, name)
				now, is := everybody(t, p, c), everybody(t, &loose, c)
				cells, cellsWere := cellsOf(now), cellsOf(before)
				rows, cols := reach(cells)
				rowsWere, colsWere := reach(cellsWere)
				same := rows == rowsWere && cols == colsWere
				for take, q := range cellsWere {
					if same && before[take] != now[take] {
						t.Fatalf("%v, %d and %d: %s moves from %v to %v", c, n, k, take, before[take], now[take])
					}
					if cells[take] != q {
						moved++
						if q.Row < rows && q.Col < cols {
							t.Fatalf("%v, %d and %d: %s moves from %v to %v of %d by %d", c, n, k, take, q,
								cells[take], rows, cols)
						}
					}
					if cellsOf(was)[take] != cellsOf(is)[take] {
						unseated++
					}
				}
				before, was = now, is
				pin(p) // who came has a seat from here on
				steps++
			}
		}
		if moved*5 > unseated {
			t.Errorf("%v: %d moves with seats, %d without", c, moved, unseated)
		}
		t.Logf("%v: %d players added, %d moves with seats, %d without", c, steps, moved, unseated)
	}
}

// Writing the seats of now into the manifest changes no film: not without any,
// not with some written by hand, not after some came late.
func TestPinningSeatsMovesNobody(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 3))
	for range 150 {
		p := lamplighter(t, 1+r.IntN(25))
		p.Picture.Rows = production.Rows([]string{"grid", "grid", "sections", "justified"}[r.IntN(4)])
		p.Picture.ShortRows = production.Alignment([]string{"centred", "spread", "left"}[r.IntN(3)])
		if r.IntN(2) == 0 {
			searched(p)
			p.Picture.ShortRows = production.Alignment([]string{"", "stretch", "centred"}[r.IntN(3)])
		}
		p.Shots = []production.Shot{{From: at(1), Show: "tutti"}, {From: at(3), Show: "soli", Section: "high"}}
		by, seats := r.Perm(len(p.Takes)), r.Perm(len(p.Takes))
		for i := range r.IntN(len(by)) / 2 {
			p.Takes[by[i]].Seat = seats[i] + 1
		}
		c := seatCanvases[r.IntN(4)]
		for range 3 {
			films := func() []Shot {
				pl, err := New(p, filmed(p), []Want{{Name: "x", Canvas: c}}, Look{})
				if err != nil {
					t.Fatal(err)
				}
				checkTiles(t, pl.Films[0])
				return pl.Films[0].Shots
			}
			before := films()
			pin(p)
			for i, s := range films() {
				if !slices.Equal(s.Tiles, before[i].Tiles) {
					t.Fatalf("%d takes, rows %s: %v\nbecame %v", len(p.Takes), p.Picture.Rows, before[i].Tiles, s.Tiles)
				}
			}
			// The order of the lines says nothing any more.
			r.Shuffle(len(p.Takes), func(i, k int) { p.Takes[i], p.Takes[k] = p.Takes[k], p.Takes[i] })
			where := map[string]layout.Rect{}
			for _, tile := range before[1].Tiles {
				where[tile.Take] = tile.Rect
			}
			for _, tile := range films()[1].Tiles {
				if where[tile.Take] != tile.Rect {
					t.Fatalf("%s moves with its line", tile.Take)
				}
			}
			for range r.IntN(4) {
				join(p, r.IntN(len(p.Takes)+1), fmt.Sprintf("more-%d", len(p.Takes)))
			}
		}
	}
}

// Who leaves a seat leaves it free, and who comes next takes it: the others
// stay where they were as long as the rows and columns do.
func TestASeatThatIsLeftIsTakenNext(t *testing.T) {
	p := lamplighter(t, 12)
	pin(p)
	full := everybody(t, p, seatCanvases[0])
	p.Takes = slices.Delete(p.Takes, 5, 6)
	fewer := everybody(t, p, seatCanvases[0])
	for take, r := range fewer {
		if full[take] != r {
			t.Errorf("%s moves from %v to %v when another leaves", take, full[take], r)
		}
	}
	join(p, 0, "new")
	again := everybody(t, p, seatCanvases[0])
	if again["new"] != full["take-6"] {
		t.Errorf("the new one is at %v, the free seat at %v", again["new"], full["take-6"])
	}
	delete(again, "new")
	if !maps.Equal(again, fewer) {
		t.Errorf("others moved: %v, were %v", again, fewer)
	}
}

// A seat written by hand is a cell of the grid as it is, counted in reading
// order; the others fill the rest.
func TestASeatByHand(t *testing.T) {
	p := lamplighter(t, 9)
	p.Takes[0].Seat, p.Takes[8].Seat = 5, 1
	at := everybody(t, p, seatCanvases[0])
	plain := everybody(t, lamplighter(t, 9), seatCanvases[0])
	for take, seat := range map[string]string{"take-1": "take-5", "take-9": "take-1", "take-2": "take-2",
		"take-5": "take-6", "take-8": "take-9"} {
		if at[take] != plain[seat] {
			t.Errorf("%s is at %v, want the place of %s, %v", take, at[take], seat, plain[seat])
		}
	}
	// Seats that were given for far more than fit are no reason to fail.
	p.Seats, p.Takes[0].Seat = 500, 499
	if _, err := New(p, filmed(p), []Want{{Name: "x", Canvas: layout.Canvas{W: 64, H: 36}}}, Look{}); err != nil {
		t.Error(err)
	}
}

func BenchmarkSeats500AllLate(b *testing.B) {
	p := lamplighter(b, 500)
	facts := filmed(p)
	p.Seats, p.Takes[250].Seat = 1, 1
	for b.Loop() {
		if _, err := New(p, facts, fullHD, Look{}); err != nil {
			b.Fatal(err)
		}
	}
}
