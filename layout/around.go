package layout

import (
	"cmp"
	"slices"
)

// Around places one tile large and the others, all equal, small beside it,
// below it or all round it, whichever shows most. Tile 0 is the large one; the
// others follow in reading order. A single tile is a Grid of one.
//
// The arrangement with the largest product of the large tile's area squared
// and the area of all small ones wins: two thirds of what is covered go to the
// large tile where the shapes allow it. Places that stay empty between tiles
// count against it. The large tile is at least one and a half times as wide
// and high as a small one, and of the wanted aspect as they are.
//
// No small tile is lower than least pixels (0: any height). Rows and Cols of
// the plan are 0: the tiles share no cells. Errors are Grid's.
func Around(n int, c Canvas, o Options, least int) (Plan, error) {
	o, err := check(n, c, o)
	if err != nil {
		return Plan{}, err
	}
	if n == 1 {
		return Grid(1, c, o)
	}
	a := around{Options: o, m: n - 1, least: max(least, MinTile)}
	a.inner = Canvas{c.W - 2*o.Margin, c.H - 2*o.Margin}
	a.Margin = 0
	room := a.inner.W >= MinTile && a.inner.H >= MinTile
	found := room && a.search()
	if room && o.Shapes != (Shapes{}) {
		if tiles, worth := a.bands(); worth > a.score*a.cover(c) {
			for i := range tiles {
				tiles[i].X, tiles[i].Y = tiles[i].X+o.Margin, tiles[i].Y+o.Margin
			}
			return Plan{Canvas: c, Gutter: o.Gutter, Align: o.Align, Tiles: tiles}, nil
		}
	}
	if !found {
		return Plan{}, &TooSmallError{n, c, MinTile, a.least}
	}
	p := Plan{Canvas: c, Gutter: o.Gutter, Align: o.Align, Tiles: a.tiles()}
	x, y := floorEven((c.W-a.inner.W)/2), floorEven((c.H-a.inner.H)/2)
	for i := range p.Tiles {
		p.Tiles[i].X += x
		p.Tiles[i].Y += y
	}
	slices.SortStableFunc(p.Tiles[1:], func(r, s Rect) int {
		return cmp.Or(cmp.Compare(r.Y, s.Y), cmp.Compare(r.X, s.X))
	})
	return p, nil
}

// AroundPages splits the small tiles of n over as few pages as keep each at
// least so many pixels high. The large tile is the first of every page and
// stands in one place on all. Errors are Around's; a *TooSmallError with Count
// 2 says that not even one fits beside the large tile.
func AroundPages(n int, c Canvas, o Options, least int) ([]Plan, error) {
	if _, err := check(n, c, o); err != nil {
		return nil, err
	}
	pages := splitPages(n-1,
		func(most int) (Plan, bool) {
			p, err := Around(most+1, c, o, least)
			return p, err == nil
		},
		func(p Plan, k int) []Rect { return p.Tiles[:k+1] })
	if pages == nil {
		return nil, &TooSmallError{2, c, MinTile, max(least, MinTile)}
	}
	return pages, nil
}

// around looks for the best arrangement of one large tile and m small ones.
type around struct {
	Options
	inner Canvas // inside the margin
	m     int
	least int
	best  arrangement
	score float64
}

// side says where the small tiles of an arrangement stand.
type side int

const (
	ring    side = iota // on all sides, in cells that the large tile covers k by k of
	corner              // the same, at the right and below only
	columns             // in columns at the right, or left and right
	rows                // in rows below, or above and below
)

// arrangement is one way to do it.
type arrangement struct {
	side
	both   bool // columns and rows: on both sides
	qx, qy int  // ring, corner: cells beside the large tile on a side; columns, rows: qx lines on a side
	k      int  // ring, corner: cells that the large tile covers; columns, rows: tiles in a line
	w, h   int  // of a small tile
	bw, bh int  // of the large one
}

// larger is how much wider and higher the large tile is at the least, in halves.
const larger = 3

// maxThick bounds the cells beside the large tile on one side.
const maxThick = 8

// search tries every arrangement; false when none is large enough.
func (a *around) search() bool {
	for qx := 1; qx <= maxThick; qx++ {
		for qy := 1; qy <= maxThick; qy++ {
			a.cells(arrangement{side: ring, qx: qx, qy: qy})
		}
	}
	for _, both := range []bool{false, true} {
		for k := 1; k <= max(a.m, maxThick); k++ {
			a.lines(arrangement{side: columns, both: both, k: k})
			a.lines(arrangement{side: rows, both: both, k: k})
		}
	}
	for qx := 1; qx <= maxThick; qx++ {
		for qy := 1; qy <= maxThick; qy++ {
			a.cells(arrangement{side: corner, qx: qx, qy: qy})
		}
	}
	return a.score > 0
}

// cells tries every size of the large tile, in cells, that leaves room for the
// small ones and not a whole row empty.
func (a *around) cells(t arrangement) {
	for t.k = 2; ; t.k++ {
		cols, rows := t.grid()
		free := cols*rows - t.k*t.k
		if free < a.m {
			continue
		}
		if free-a.m >= cols {
			return
		}
		t.w, t.h = a.tile(a.inner, rows, cols)
		t.bw, t.bh = a.tile(t.block(a.Gutter), 1, 1)
		a.consider(t, float64(a.m)/float64(free))
	}
}

// grid returns the columns and rows of cells of a ring or a corner.
func (t arrangement) grid() (cols, rows int) {
	if t.side == ring {
		return t.k + 2*t.qx, t.k + 2*t.qy
	}
	return t.k + t.qx, t.k + t.qy
}

// block returns the room of a ring's or a corner's large tile: its cells and the
// gutters between them, which have not quite the shape of a tile.
func (t arrangement) block(gutter int) Canvas {
	return Canvas{span(t.k, t.w, gutter), span(t.k, t.h, gutter)}
}

// lines gives the small tiles the canvas's full height or width and the large
// one what is left.
func (a *around) lines(t arrangement) {
	sides, each := 1, a.m
	if t.both {
		sides, each = 2, (a.m+1)/2
		if a.m < 2 {
			return
		}
	}
	t.qx = (each + t.k - 1) / t.k
	rest := a.inner
	if t.side == columns {
		t.w, t.h = a.tile(a.inner, t.k, 1)
		rest.W -= sides * t.qx * (t.w + a.Gutter)
	} else {
		t.w, t.h = a.tile(a.inner, 1, t.k)
		rest.H -= sides * t.qx * (t.h + a.Gutter)
	}
	if rest.W < MinTile || rest.H < MinTile {
		return
	}
	t.bw, t.bh = a.tile(rest, 1, 1)
	a.consider(t, 1)
}

// consider keeps t when it is better than all before.
func (a *around) consider(t arrangement, used float64) {
	if t.w < MinTile || t.h < a.least || 2*t.bw < larger*t.w || 2*t.bh < larger*t.h {
		return
	}
	big, small := a.worth(t.bw, t.bh), a.worth(t.w, t.h)*float64(a.m)
	if s := big * big * small * used; s > a.score {
		a.best, a.score = t, s
	}
}

// tiles returns the rectangles of the best arrangement inside the margin, the
// large one first.
func (a *around) tiles() []Rect {
	t := a.best
	switch t.side {
	case columns:
		left := 0
		if t.both {
			left = (a.m + 1) / 2
		}
		wide := t.qx * (t.w + a.Gutter)
		x := floorEven((a.inner.W - t.bw - wide*sidesOf(t)) / 2)
		out := []Rect{{x, floorEven((a.inner.H - t.bh) / 2), t.bw, t.bh}}
		if t.both {
			out[0].X += wide
			out = append(out, a.block(left, t.qx, Rect{x, 0, wide - a.Gutter, a.inner.H})...)
		}
		return append(out, a.block(a.m-left, t.qx, Rect{out[0].Right() + a.Gutter, 0, wide - a.Gutter, a.inner.H})...)
	case rows:
		above := 0
		if t.both {
			above = (a.m + 1) / 2
		}
		high := t.qx * (t.h + a.Gutter)
		y := floorEven((a.inner.H - t.bh - high*sidesOf(t)) / 2)
		out := []Rect{{floorEven((a.inner.W - t.bw) / 2), y, t.bw, t.bh}}
		if t.both {
			out[0].Y += high
			out = append(out, a.block(above, t.k, Rect{0, y, a.inner.W, high - a.Gutter})...)
		}
		return append(out, a.block(a.m-above, t.k, Rect{0, out[0].Bottom() + a.Gutter, a.inner.W, high - a.Gutter})...)
	}
	return a.ringTiles()
}

// sidesOf returns on how many sides lines stand.
func sidesOf(t arrangement) int {
	if t.both {
		return 2
	}
	return 1
}

// block returns n small tiles in rows of cols at most, in the middle of r.
func (a *around) block(n, cols int, r Rect) []Rect {
	lengths := fill(n, cols)
	p := Plan{Canvas: Canvas{r.W, r.H}, Rows: len(lengths), Cols: min(n, cols), Gutter: a.Gutter, Align: a.Align}
	tiles := p.rows(lengths, a.best.w, a.best.h)
	for i := range tiles {
		tiles[i].X += r.X
		tiles[i].Y += r.Y
	}
	return tiles
}

// ringTiles returns the tiles of a ring or a corner: cells in reading order round
// the large tile, the last row aligned like that of a grid.
func (a *around) ringTiles() []Rect {
	t := a.best
	cols, rows := t.grid()
	left, top := 0, 0
	if t.side == ring {
		left, top = t.qx, t.qy
	}
	p := Plan{Canvas: a.inner, Rows: rows, Cols: cols, Gutter: a.Gutter, Align: a.Align}
	x0, y0 := p.origin(t.w, t.h)
	room := t.block(a.Gutter)
	out := []Rect{{
		x0 + left*(t.w+a.Gutter) + floorEven((room.W-t.bw)/2), y0 + top*(t.h+a.Gutter) + floorEven((room.H-t.bh)/2),
		t.bw, t.bh,
	}}
	last := cols - (cols*rows - t.k*t.k - a.m) // tiles in the last row
	for row := range rows {
		n := cols
		if row == rows-1 {
			n = last
		}
		for col := range n {
			if row >= top && row < top+t.k && col >= left && col < left+t.k {
				continue
			}
			out = append(out, Rect{x0 + p.shift(n, col, t.w), y0 + row*(t.h+a.Gutter), t.w, t.h})
		}
	}
	return out
}
