package layout

import (
	"math"
	"slices"
)

// Fill places a tile for each picture, of which aspects are the widths over
// heights in seat order, so that everybody is seen as large and as whole as
// the canvas allows. Options need Shapes; their aspect is not used.
//
// It tries every number of rows, and of columns, with their tiles spread over
// the whole canvas, those of shorter rows wider, and every height of such rows
// for which no tile is more than MaxUneven times larger than another; and every
// grid of equal tiles. The best is that with the largest harmonic mean of
// [Shapes.Worth], in which the one who is seen worst counts most, times the share
// of the canvas that is covered. Tiles of one size are taken while that costs
// little of the canvas. Align says what becomes of short rows: with any but
// Stretched there are equal tiles only.
//
// Tiles are in reading order. The result depends on the arguments only; errors
// are Grid's, and an aspect outside 0.1 to 10.
func Fill(aspects []float64, c Canvas, o Options) (Plan, error) {
	n := len(aspects)
	o, err := check(n, c, o)
	if err != nil {
		return Plan{}, err
	}
	if o.Shapes == (Shapes{}) {
		return Plan{}, argument("shapes", "there is no range")
	}
	for i, a := range aspects {
		if !(a >= 0.1 && a <= 10) {
			return Plan{}, argument("aspects", "number %d is %v, not within 0.1 and 10", i+1, a)
		}
	}
	f := newFilling(aspects, c, o)
	f.search()
	for {
		best, ok := f.choose()
		if !ok {
			return Plan{}, &TooSmallError{n, c, MinTile, MinTile}
		}
		// Rounding to even sides can make the largest too large.
		if p := f.plan(best); !tooUneven(p.Tiles) {
			return p, nil
		}
		f.found = slices.DeleteFunc(f.found, func(w filled) bool { return w == best })
	}
}

// tooUneven reports whether the largest tile is more than MaxUneven times larger
// than the smallest.
func tooUneven(tiles []Rect) bool {
	least, most := tiles[0].W*tiles[0].H, 0
	for _, r := range tiles {
		least, most = min(least, r.W*r.H), max(most, r.W*r.H)
	}
	return float64(most) > MaxUneven*float64(least)
}

// filling is a search for the best way to fill a canvas.
type filling struct {
	Options
	canvas Canvas
	n      int
	kinds  []float64 // aspects that occur
	of     []int     // the kind of each seat's picture
	found  []filled
}

// filled is one way: lines of tiles, rows or columns, of which the first are
// one tile longer.
type filled struct {
	columns bool
	lines   int
	long    float64 // thickness of the long lines, pixels
	short   float64 // of the others
	w, h    int     // of a tile when all are equal and short rows are not stretched; else 0
	score   float64 // harmonic mean of worths, times tiles and cover, over the canvas
	cover   float64 // share of the canvas
	equal   bool
}

// newFilling counts the kinds of pictures; finer steps than a percent of an aspect
// would cost time and change nothing that can be seen.
func newFilling(aspects []float64, c Canvas, o Options) *filling {
	f := &filling{Options: o, canvas: c, n: len(aspects)}
	for _, a := range aspects {
		a = math.Round(a*100) / 100
		k := slices.Index(f.kinds, a)
		if k < 0 {
			k, f.kinds = len(f.kinds), append(f.kinds, a)
		}
		f.of = append(f.of, k)
	}
	return f
}

// split returns how many tiles the shorter of so many lines have, and how many lines
// have one more.
func (f *filling) split(lines int) (short, longer int) { return f.n / lines, f.n % lines }

// room returns the pixels of a canvas along and across lines, inside the margin.
func (f *filling) room(columns bool) (along, across float64) {
	w, h := float64(f.canvas.W-2*f.Margin), float64(f.canvas.H-2*f.Margin)
	if columns {
		return h, w
	}
	return w, h
}

// slimmest bounds how far tiles that are looked at may be outside the range.
const slimmest = 2.5

// search collects every way that may be chosen.
func (f *filling) search() {
	for lines := 1; lines <= f.n; lines++ {
		for _, columns := range []bool{false, true} {
			if columns && (f.Align != Stretched || f.n%lines == 0) {
				continue // the same as rows
			}
			f.stretch(lines, columns)
		}
		f.even(lines)
	}
}

// stretch tries lines that all fill the canvas, with every ratio of thicknesses
// where there are two lengths.
func (f *filling) stretch(lines int, columns bool) {
	short, longer := f.split(lines)
	if longer > 0 && f.Align != Stretched {
		return
	}
	along, across := f.room(columns)
	g := float64(f.Gutter)
	across -= g * float64(lines-1)
	size := func(k int) float64 { return (along - g*float64(k-1)) / float64(k) }
	a, b := size(short+1), size(short) // tile lengths in long and short lines
	if longer == 0 {
		a = b
	}
	thick := across / float64(lines)
	if a < MinTile || thick < MinTile {
		return
	}
	if shape := ratio(b, thick, columns); lines > 1 && short > 1 && (shape < f.Shapes.Least/slimmest ||
		shape > f.Shapes.Most*slimmest) {
		return
	}
	counts := f.counts(lines, columns)
	if longer == 0 {
		f.consider(filled{columns: columns, lines: lines, long: thick, short: thick, equal: true}, counts, a, b)
		return
	}
	// Append by itself would copy all of them at every quarter more.
	if cap(f.found)-len(f.found) < len(unevenness) {
		f.found = slices.Grow(f.found, max(len(unevenness), len(f.found)))
	}
	for _, uneven := range unevenness { // area of a tile in a short line over one in a long
		t := uneven * a / b // thickness likewise
		long := across / (float64(longer) + t*float64(lines-longer))
		f.consider(filled{columns: columns, lines: lines, long: long, short: long * t}, counts, a, b)
	}
}

// unevenness is every ratio of areas that is tried, in steps of three quarters of a
// percent.
var unevenness = func() (all [129]float64) {
	for i := range all {
		all[i] = math.Pow(MaxUneven, float64(i-64)/64)
	}
	return all
}()

// ratio returns the shape of a tile that is so long and its line so thick.
func ratio(length, thick float64, columns bool) float64 {
	if columns {
		return thick / length
	}
	return length / thick
}

// counts tells how many pictures of each kind stand in the long and in the short
// lines.
func (f *filling) counts(lines int, columns bool) (out [2][]int) {
	short, longer := f.split(lines)
	out = [2][]int{make([]int, len(f.kinds)), make([]int, len(f.kinds))}
	if len(f.kinds) == 1 { // whichever cells are whose
		if longer == 0 {
			out[0][0] = f.n
		} else {
			out[0][0] = longer * (short + 1)
			out[1][0] = f.n - out[0][0]
		}
		return out
	}
	for i, cell := range f.cells(lines, columns) {
		line := cell.Row
		if columns {
			line = cell.Col
		}
		k := 1
		if line < longer || longer == 0 && short > 0 {
			k = 0
		}
		out[k][f.of[i]]++
	}
	return out
}

// cells lists the cells of so many lines in reading order: columns of unequal
// length are read by where the middles of their tiles are.
func (f *filling) cells(lines int, columns bool) []Cell {
	short, longer := f.split(lines)
	length := func(line int) int {
		if line < longer {
			return short + 1
		}
		return short
	}
	cells := make([]Cell, 0, f.n)
	for line := range lines {
		for i := range length(line) {
			if columns {
				cells = append(cells, Cell{i, line})
			} else {
				cells = append(cells, Cell{line, i})
			}
		}
	}
	if columns {
		slices.SortFunc(cells, func(a, b Cell) int {
			// Twice the middle, (2i+1)/length, compared by cross products.
			if d := (2*a.Row+1)*length(b.Col) - (2*b.Row+1)*length(a.Col); d != 0 {
				return d
			}
			return a.Col - b.Col
		})
	}
	return cells
}

// consider adds a way in which tiles of long lines have the length a and the
// others b.
func (f *filling) consider(w filled, counts [2][]int, a, b float64) {
	var sum, area float64
	for k, line := range [2][2]float64{{a, w.long}, {b, w.short}} {
		width, height := line[0], line[1]
		if w.columns {
			width, height = height, width
		}
		for kind, m := range counts[k] {
			if m == 0 {
				continue
			}
			if width < MinTile || height < MinTile {
				return
			}
			sum += float64(m) / f.Shapes.Worth(width, height, f.kinds[kind])
			area += float64(m) * width * height
		}
	}
	f.add(w, sum, area)
}

// add keeps a way with its score and its cover.
func (f *filling) add(w filled, sum, area float64) {
	whole := float64(f.canvas.W) * float64(f.canvas.H)
	w.cover = area / whole
	w.score = w.cover * float64(f.n) * float64(f.n) / sum / whole
	f.found = append(f.found, w)
}

// even tries rows of equal tiles within the range, the last of them shorter.
func (f *filling) even(rows int) {
	cols := (f.n + rows - 1) / rows
	if (f.n+cols-1)/cols != rows {
		return
	}
	w, h := f.tile(f.canvas, rows, cols)
	if w < MinTile || h < MinTile {
		return
	}
	share := make([]float64, len(f.kinds))
	for k, aspect := range f.kinds {
		share[k] = 1 / f.Shapes.Worth(float64(w), float64(h), aspect)
	}
	sum := 0.0
	for _, kind := range f.of {
		sum += share[kind]
	}
	f.add(filled{lines: rows, w: w, h: h, equal: true}, sum, float64(f.n*w*h))
}

// choose returns the best way: among those that cover what is promised, or nearly
// as much as can be where gutters are wider, the best of equal tiles when it
// costs little beside the best of all.
func (f *filling) choose() (best filled, ok bool) {
	most := 0.0
	for _, w := range f.found {
		most = max(most, w.cover)
	}
	floor := min(Promised(f.n)+0.005, most-0.02) // rounding to even sides costs a little
	if f.Align != Stretched {
		floor = 0
	}
	pick := func(may func(filled) bool) (best filled, ok bool) {
		for _, w := range f.found {
			if may(w) && (!ok || w.score > best.score) {
				best, ok = w, true
			}
		}
		return best, ok
	}
	best, ok = pick(func(w filled) bool { return w.cover >= floor })
	if !ok {
		return best, false
	}
	cost := equalCost * min(1, best.score/0.5)
	even, ok := pick(func(w filled) bool {
		return w.equal && w.cover >= max(floor, best.cover-equalCost) && w.score >= best.score-cost
	})
	if ok {
		return even, true
	}
	return best, true
}

// On returns the arrangement of a plan made by Fill on a canvas of another size,
// so that a small film looks as the large one does. Options are Fill's; errors
// too, and a plan that Fill did not make.
func (p Plan) On(c Canvas, o Options) (Plan, error) {
	if p.way == nil {
		return p, argument("plan", "it was not made by Fill")
	}
	n := max(len(p.Tiles), len(p.rects))
	o, err := check(n, c, o)
	if err != nil {
		return p, err
	}
	f := &filling{Options: o, canvas: c, n: n}
	w := *p.way
	small := &TooSmallError{n, c, MinTile, MinTile}
	if w.w > 0 {
		if w.w, w.h = f.tile(c, w.lines, (n+w.lines-1)/w.lines); w.w < MinTile || w.h < MinTile {
			return p, small
		}
		return f.plan(w), nil
	}
	_, across := f.room(w.columns)
	_, longer := f.split(w.lines)
	t := w.short / w.long
	w.long = (across - float64(o.Gutter*(w.lines-1))) / (float64(longer) + t*float64(w.lines-longer))
	w.short = w.long * t
	q := f.plan(w)
	for _, r := range q.Tiles {
		if r.W < MinTile || r.H < MinTile {
			return p, small
		}
	}
	return q, nil
}
