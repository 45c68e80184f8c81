package layout

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// TestReseatExpected: a take with a seat comes in. As many have cells, so
// nobody moves, not by a pixel.
func TestReseatExpected(t *testing.T) {
	for _, n := range []int{1, 5, 14, 200} {
		p, err := Grid(n, canvases["16:9"], wide)
		if err != nil {
			t.Fatal(err)
		}
		cells, err := Reseat(p.Cells(), p)
		if err != nil {
			t.Fatal(err)
		}
		q, err := p.Arrange(cells)
		if err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(p.Tiles, q.Tiles) {
			t.Fatalf("%d takes: tiles moved from %v to %v", n, p.Tiles, q.Tiles)
		}
	}
}

// TestReseatUnexpected adds players one by one, from 1 to 120: only those
// move whose cell the new grid does not have. It also counts what plain
// reading order would have moved, to show that there is something to gain.
func TestReseatUnexpected(t *testing.T) {
	for name, c := range canvases {
		moved, plain, forced := 0, 0, 0
		var before []Cell
		for n := 1; n <= 120; n++ {
			p, err := Grid(n, c, wide)
			if err != nil {
				t.Fatal(err)
			}
			cells, err := Reseat(before, p)
			if err != nil {
				t.Fatal(err)
			}
			for i, old := range before {
				if old.Row >= p.Rows || old.Col >= p.Cols {
					forced++
				}
				if cells[i] != old {
					moved++
				}
				if p.Cells()[i] != old {
					plain++
				}
			}
			q, err := p.Arrange(cells)
			if err != nil {
				t.Fatal(err)
			}
			checkTiles(t, q.Tiles, c, wide)
			before = cells
		}
		if moved != forced {
			t.Errorf("%s: %d moves, %d cells vanished", name, moved, forced)
		}
		if moved*5 > plain {
			t.Errorf("%s: %d moves against %d in reading order", name, moved, plain)
		}
	}
}

// fewestMoves tries every assignment of takes to cells of a grid and counts
// the takes that leave their cell. It is for few takes.
func fewestMoves(before []Cell, n, rows, cols int) int {
	taken := make([]bool, rows*cols)
	fewest := n + 1
	var try func(i, moves int)
	try = func(i, moves int) {
		if moves >= fewest {
			return
		}
		if i == n {
			fewest = moves
			return
		}
		for k, t := range taken {
			if t {
				continue
			}
			more := 0
			if i < len(before) && before[i] != (Cell{k / cols, k % cols}) {
				more = 1
			}
			taken[k] = true
			try(i+1, moves+more)
			taken[k] = false
		}
	}
	try(0, 0)
	return fewest
}

// TestReseatMovesTheFewest holds every step from 1 to 6 players, and steps of
// several at once and back, against all assignments there are.
func TestReseatMovesTheFewest(t *testing.T) {
	for name, c := range canvases {
		for from := 1; from <= 6; from++ {
			for to := 1; to <= 6; to++ {
				a, errA := Grid(from, c, wide)
				b, errB := Grid(to, c, wide)
				if errA != nil || errB != nil {
					t.Fatal(errA, errB)
				}
				before := a.Cells()[:min(from, to)]
				cells, err := Reseat(before, b)
				if err != nil {
					t.Fatal(err)
				}
				moved := 0
				for i := range before {
					if cells[i] != before[i] {
						moved++
					}
				}
				if want := fewestMoves(before, to, b.Rows, b.Cols); moved != want {
					t.Errorf("%s: from %d to %d players %d move, %d have to", name, from, to, moved, want)
				}
			}
		}
	}
}

// TestReseatRandom: players come, go and change order; nobody shares a cell
// and only those without a cell move.
func TestReseatRandom(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 2))
	var before []Cell
	for range 300 {
		r.Shuffle(len(before), func(i, k int) { before[i], before[k] = before[k], before[i] })
		before = before[:r.IntN(len(before)+1)]
		n := max(1, len(before)+r.IntN(61-len(before)))
		c := Canvas{2 * (300 + r.IntN(700)), 2 * (200 + r.IntN(700))}
		o := wide
		o.Align = Align(r.IntN(3))
		p, err := Grid(n, c, o)
		if err != nil {
			t.Fatal(err)
		}
		cells, err := Reseat(before, p)
		if err != nil {
			t.Fatal(err)
		}
		for i, old := range before {
			if old.Row < p.Rows && old.Col < p.Cols && cells[i] != old {
				t.Fatalf("%d moved from %v to %v in %d rows of %d", i, old, cells[i], p.Rows, p.Cols)
			}
		}
		q, err := p.Arrange(cells)
		if err != nil {
			t.Fatal(err)
		}
		checkTiles(t, q.Tiles, c, o)
		before = cells
	}
}

func TestReseatRefuses(t *testing.T) {
	p, err := Grid(4, canvases["16:9"], wide)
	if err != nil {
		t.Fatal(err)
	}
	for want, f := range map[string]func() error{
		"seats: 5 for 4 tiles": func() error {
			_,
				err := Reseat(make([]Cell, 5), p)
			return err
		},
		"seats: two had row 2, column 1": func() error {
			_,
				err := Reseat([]Cell{{1, 0}, {0, 0}, {1, 0}}, p)
			return err
		},
		"cells: 1 for 4 tiles": func() error {
			_,
				err := p.Arrange([]Cell{{0, 0}})
			return err
		},
		"cells: row 3, column 1 is outside 2 rows of 2 or taken twice": func() error {
			_,
				err := p.Arrange([]Cell{{0, 0}, {0, 1}, {1, 0}, {2, 0}})
			return err
		},
		"cells: row 1, column 1 is outside 2 rows of 2 or taken twice": func() error {
			_,
				err := p.Arrange([]Cell{{0, 0}, {0, 1}, {1, 0}, {0, 0}})
			return err
		},
	} {
		if err := f(); err == nil || err.Error() != want {
			t.Errorf("%v, want %s", err, want)
		}
	}
}
