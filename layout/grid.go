package layout

// Align says where the tiles of an incomplete row stand.
type Align int

// Incomplete rows are centred unless told otherwise.
const (
	Centred   Align = iota // moved to the middle, gutters kept
	Spread                 // first and last tile at the ends, gaps widened
	Leading                // from the left, as if the row were complete
	Stretched              // tiles widened until they fill the row, in Fill; elsewhere as Centred
)

// Options shape a grid. The zero value is not usable: the aspect must be set.
type Options struct {
	AspectW, AspectH int   // aspect of a tile, each 1 to 10000
	Gutter           int   // pixels between tiles, >= 0; odd values gain a pixel
	Margin           int   // pixels kept free round the grid, >= 0; odd values gain a pixel
	Align            Align // of incomplete rows
	// Shapes a tile may have instead of the one aspect: as large as rows and
	// columns leave room for. The zero value is none.
	Shapes Shapes
	// Picture is the aspect of most pictures, by which tiles of several shapes are
	// compared; 0 compares their area alone.
	Picture float64
}

// Plan is where the tiles stand. Tiles are in seat order, which is reading
// order unless Arrange was used. All tiles lie on Canvas, are disjoint, and
// have even position and size.
type Plan struct {
	Canvas     Canvas
	Tiles      []Rect
	Rows, Cols int // of cells; a row may hold fewer tiles than Cols
	Gutter     int // pixels, even
	Align      Align

	// The cells of a plan whose rows or columns are of several lengths, in
	// reading order, and their rectangles; nil for a plan of Rows by Cols.
	cells []Cell
	rects []Rect
	way   *filled // how Fill arranged it; nil for a plan of anything else
}

// Grid places n equal tiles of the wanted aspect in rows and columns so that
// no other number of columns gives tiles of larger area.
//
// Equally large tiles leave a choice; then the fewest empty cells win, then
// the block whose aspect is nearer to the canvas's by cross product, then the
// fewest rows. The result depends on the arguments only.
//
// A side of the tile is rounded to the nearest even pixel, so its aspect is
// off by at most one pixel. The error is an *ArgumentError for arguments out
// of range (n is 1 to MaxTiles) and a *TooSmallError for tiles under MinTile.
func Grid(n int, c Canvas, o Options) (Plan, error) {
	o, err := check(n, c, o)
	if err != nil {
		return Plan{}, err
	}
	best, ok := search(n, c, o, func(cols int) (rows, empty int) {
		rows = (n + cols - 1) / cols
		return rows, rows*cols - n
	})
	if !ok {
		return Plan{}, &TooSmallError{n, c, MinTile, MinTile}
	}
	p := Plan{Canvas: c, Rows: best.rows, Cols: best.cols, Gutter: o.Gutter, Align: o.Align}
	p.Tiles = p.rows(fill(n, best.cols), best.w, best.h)
	return p, nil
}

// check reports arguments out of range and returns o with even lengths.
func check(n int, c Canvas, o Options) (Options, error) {
	if err := c.Check(); err != nil {
		return o, err
	}
	switch {
	case n < 1 || n > MaxTiles:
		return o, argument("tiles", "%d is not within 1 and %d", n, MaxTiles)
	case o.Shapes != (Shapes{}) && !(o.Shapes.Least >= 1./maxAspect && o.Shapes.Least <= o.Shapes.Most &&
		o.Shapes.Most <= maxAspect):
		return o, argument("shapes", "%v to %v is no range within 1:%d and %d:1", o.Shapes.Least, o.Shapes.Most,
			maxAspect, maxAspect)
	case o.Shapes != (Shapes{}): // the aspect is not used
	case o.AspectW < 1 || o.AspectH < 1 || o.AspectW > maxAspect || o.AspectH > maxAspect:
		return o, argument("aspect", "%d:%d has a term outside 1 and %d", o.AspectW, o.AspectH, maxAspect)
	}
	switch {
	case o.Gutter < 0 || o.Gutter > MaxCanvas:
		return o, argument("gutter", "%d is not within 0 and %d pixels", o.Gutter, MaxCanvas)
	case o.Margin < 0 || o.Margin > MaxCanvas:
		return o, argument("margin", "%d is not within 0 and %d pixels", o.Margin, MaxCanvas)
	case o.Align < Centred || o.Align > Stretched:
		return o, argument("align", "%d is unknown", int(o.Align))
	}
	o.Gutter, o.Margin = ceilEven(o.Gutter), ceilEven(o.Margin)
	return o, nil
}

// candidate is one way to cut the canvas into cells.
type candidate struct {
	rows, cols, empty, w, h int
	worth                   float64
}

// search tries every number of columns up to n. fill says how many rows that
// many columns need and how many cells stay empty.
func search(n int, c Canvas, o Options, fill func(cols int) (rows, empty int)) (best candidate, ok bool) {
	for cols := 1; cols <= n; cols++ {
		rows, empty := fill(cols)
		w, h := o.tile(c, rows, cols)
		if w < MinTile || h < MinTile {
			continue
		}
		k := candidate{rows, cols, empty, w, h, o.worth(w, h)}
		if !ok || k.better(best, c, o.Gutter) {
			best, ok = k, true
		}
	}
	return best, ok
}

// better reports whether a comes before b in the order of Grid: area, empty cells, likeness, rows.
func (k candidate) better(b candidate, c Canvas, gutter int) bool {
	if x, y := k.worth, b.worth; x != y {
		return x > y
	}
	if k.empty != b.empty {
		return k.empty < b.empty
	}
	if x, y := k.aspectGap(c, gutter), b.aspectGap(c, gutter); x != y {
		return x < y
	}
	return k.rows < b.rows
}

// worth returns what tiles are compared by: their area, or what they do for the
// picture they are meant for.
func (o Options) worth(w, h int) float64 {
	if o.Shapes != (Shapes{}) && o.Picture > 0 {
		return o.Shapes.Worth(float64(w), float64(h), o.Picture)
	}
	return float64(w) * float64(h)
}

// aspectGap returns how far the aspect of the whole block is from the canvas's, as
// the difference of cross products: exact in integers.
func (k candidate) aspectGap(c Canvas, gutter int) int {
	bw, bh := span(k.cols, k.w, gutter), span(k.rows, k.h, gutter)
	return max(bw*c.H-bh*c.W, bh*c.W-bw*c.H)
}

// span returns the length of n tiles of the given size with gutters between.
func span(n, size, gutter int) int { return n*size + (n-1)*gutter }

// tile returns the largest tile of the wanted aspect for so many rows and columns;
// zero when not even the gutters fit. The longer side of the aspect moves in
// steps of two pixels and the shorter follows it, which keeps the finest
// choice of sizes.
func (o Options) tile(c Canvas, rows, cols int) (w, h int) {
	maxW := floorEven(max(0, (c.W-2*o.Margin-(cols-1)*o.Gutter)/cols))
	maxH := floorEven(max(0, (c.H-2*o.Margin-(rows-1)*o.Gutter)/rows))
	if o.Shapes != (Shapes{}) {
		w, h = min(maxW, floorEven(int(float64(maxH)*o.Shapes.Most))), min(maxH,
			floorEven(int(float64(maxW)/o.Shapes.Least)))
		return w, h
	}
	if o.AspectW >= o.AspectH {
		return follow(maxW, maxH, o.AspectH, o.AspectW)
	}
	h, w = follow(maxH, maxW, o.AspectW, o.AspectH)
	return w, h
}

// follow finds the largest even a <= maxA whose partner b, the even number
// nearest to a*num/den, is at most maxB.
func follow(maxA, maxB, num, den int) (a, b int) {
	// The partner may be rounded down by nearly a pixel, so start there.
	a = floorEven(min(maxA, (maxB+1)*den/num))
	for ; a > 0; a -= 2 {
		if b = nearEvenRatio(a, num, den); b <= maxB {
			return a, b
		}
	}
	return 0, 0
}

// rows lays out rows of the given lengths, all tiles w by h, the block of
// p.Rows by p.Cols cells in the middle of the canvas.
func (p Plan) rows(lengths []int, w, h int) []Rect {
	var tiles []Rect
	x0, y0 := p.origin(w, h)
	for r, n := range lengths {
		for i := range n {
			x := x0 + p.shift(n, i, w)
			tiles = append(tiles, Rect{x, y0 + r*(h+p.Gutter), w, h})
		}
	}
	return tiles
}

// origin returns the top left corner of the centred block of cells.
func (p Plan) origin(w, h int) (x, y int) {
	return floorEven((p.Canvas.W - span(p.Cols, w, p.Gutter)) / 2),
		floorEven((p.Canvas.H - span(p.Rows, h, p.Gutter)) / 2)
}

// shift returns where tile i of a row of n stands, from the left end of the block.
func (p Plan) shift(n, i, w int) int {
	x := i * (w + p.Gutter)
	free := span(p.Cols, w, p.Gutter) - span(n, w, p.Gutter)
	switch {
	case p.Align == Centred || p.Align == Stretched:
		x += floorEven(free / 2)
	case p.Align == Spread && n == 1:
		x += floorEven(free / 2)
	case p.Align == Spread:
		x += floorEven(free * i / (n - 1))
	}
	return x
}
