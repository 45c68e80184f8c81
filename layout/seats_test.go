package layout

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

func named(n int) []string {
	names := make([]string, n)
	for i := range names {
		names[i] = fmt.Sprintf("take-%03d", i)
	}
	return names
}

func seating(names []string, cells []Cell) map[string]Cell {
	m := map[string]Cell{}
	for i, name := range names {
		m[name] = cells[i]
	}
	return m
}

// TestReseatExpected: a take with a seat comes in. The names are the same, so
// nobody moves, not by a pixel.
func TestReseatExpected(t *testing.T) {
	for _, n := range []int{1, 5, 14, 200} {
		p, err := Grid(n, canvases["16:9"], wide)
		if err != nil {
			t.Fatal(err)
		}
		cells, err := Reseat(named(n), seating(named(n), p.Cells()), p)
		if err != nil {
			t.Fatal(err)
		}
		q, err := p.Arrange(cells)
		if err != nil {
			t.Fatal(err)
		}
		for i := range p.Tiles {
			if p.Tiles[i] != q.Tiles[i] {
				t.Fatalf("%d takes: tile %d moved from %v to %v", n, i, p.Tiles[i], q.Tiles[i])
			}
		}
	}
}

// TestReseatUnexpected adds players one by one, from 1 to 120: only those
// move whose cell the new grid does not have. It also counts what plain
// reading order would have moved, to show that there is something to gain.
func TestReseatUnexpected(t *testing.T) {
	for name, c := range canvases {
		moved, plain, forced := 0, 0, 0
		before := map[string]Cell{}
		for n := 1; n <= 120; n++ {
			p, err := Grid(n, c, wide)
			if err != nil {
				t.Fatal(err)
			}
			cells, err := Reseat(named(n), before, p)
			if err != nil {
				t.Fatal(err)
			}
			for i, name := range named(n) {
				old, had := before[name]
				if !had {
					continue
				}
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
			before = seating(named(n), cells)
		}
		if moved != forced {
			t.Errorf("%s: %d moves, %d cells vanished", name, moved, forced)
		}
		if moved*5 > plain {
			t.Errorf("%s: %d moves against %d in reading order", name, moved, plain)
		}
	}
}

// TestReseatRandom: players come, go and change order; nobody shares a cell
// and only those without a cell move.
func TestReseatRandom(t *testing.T) {
	r := rand.New(rand.NewPCG(6, 2))
	before := map[string]Cell{}
	for range 300 {
		pool := named(60)
		r.Shuffle(len(pool), func(i, k int) { pool[i], pool[k] = pool[k], pool[i] })
		names := pool[:1+r.IntN(60)]
		c := Canvas{2 * (300 + r.IntN(700)), 2 * (200 + r.IntN(700))}
		o := wide
		o.Align = Align(r.IntN(3))
		p, err := Grid(len(names), c, o)
		if err != nil {
			t.Fatal(err)
		}
		cells, err := Reseat(names, before, p)
		if err != nil {
			t.Fatal(err)
		}
		for i, name := range names {
			if old, ok := before[name]; ok && old.Row < p.Rows && old.Col < p.Cols && cells[i] != old {
				t.Fatalf("%s moved from %v to %v in %d rows of %d", name, old, cells[i], p.Rows, p.Cols)
			}
		}
		q, err := p.Arrange(cells)
		if err != nil {
			t.Fatal(err)
		}
		checkTiles(t, q.Tiles, c, o)
		before = seating(names, cells)
	}
}

func TestReseatRefuses(t *testing.T) {
	p, err := Grid(4, canvases["16:9"], wide)
	if err != nil {
		t.Fatal(err)
	}
	for want, f := range map[string]func() error{
		"names: 3 for 4 tiles":      func() error { _, err := Reseat(named(3), nil, p); return err },
		`names: "a" is there twice`: func() error { _, err := Reseat([]string{"a", "b", "a", "c"}, nil, p); return err },
		`seats: "a" and "c" both had row 1, column 0`: func() error {
			_, err := Reseat([]string{"a", "b", "c", "d"}, map[string]Cell{"a": {1, 0}, "c": {1, 0}}, p)
			return err
		},
		"cells: 1 for 4 tiles": func() error { _, err := p.Arrange([]Cell{{0, 0}}); return err },
		"cells: row 3, column 1 is outside 2 rows of 2 or taken twice": func() error { _, err := p.Arrange([]Cell{{0, 0}, {0, 1}, {1, 0}, {2, 0}}); return err },
		"cells: row 1, column 1 is outside 2 rows of 2 or taken twice": func() error { _, err := p.Arrange([]Cell{{0, 0}, {0, 1}, {1, 0}, {0, 0}}); return err },
	} {
		if err := f(); err == nil || err.Error() != want {
			t.Errorf("%v, want %s", err, want)
		}
	}
}
