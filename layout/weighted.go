package layout

// MaxWeight is the largest weight of a tile.
const MaxWeight = 8

// Weighted places tiles of several sizes on one grid of cells: a tile of
// weight k covers k by k cells and the gutters between them. A heavy tile (a
// conductor, a soloist) stands in the topmost row with room for it, as near
// the middle as possible; then tiles of weight 1 fill the free cells in
// reading order, so they flow round the heavy ones. Among all numbers of
// columns the one with the largest cells wins, with Grid's order for ties.
//
// Tiles are in seat order. A tile of weight k > 1 has the wanted aspect but
// for the gutters it swallows. Weights are 1 to MaxWeight; errors are Grid's.
func Weighted(weights []int, c Canvas, o Options) (Plan, error) {
	o, err := check(len(weights), c, o)
	if err != nil {
		return Plan{}, err
	}
	area, widest, across := 0, 1, 0
	for i, k := range weights {
		if k < 1 || k > MaxWeight {
			return Plan{}, argument("weights", "number %d is %d, not within 1 and %d", i+1, k, MaxWeight)
		}
		area, widest, across = area+k*k, max(widest, k), across+k
	}
	largest := 0 // cell so far, pixels
	best, ok := search(across, c, o, func(cols int) (rows, empty int) {
		// Packing is slow, so columns that could not win even without an
		// empty cell are given a height no picture has.
		w, h := o.tile(c, (area+cols-1)/cols, cols)
		if cols < widest || o.Shapes == (Shapes{}) && w*h < largest {
			return MaxCanvas, 0
		}
		rows, _ = pack(weights, cols)
		w, h = o.tile(c, rows, cols)
		largest = max(largest, w*h)
		return rows, rows*cols - area
	})
	if !ok {
		return Plan{}, &TooSmallError{len(weights), c, MinTile, MinTile}
	}
	p := Plan{Canvas: c, Rows: best.rows, Cols: best.cols, Gutter: o.Gutter, Align: o.Align}
	_, cells := pack(weights, best.cols)
	x0, y0 := p.origin(best.w, best.h)
	light := lightRows(weights, cells, best.rows)
	for i, cell := range cells {
		k := weights[i]
		n := best.cols
		if k == 1 && light[cell.Row] > 0 {
			n = light[cell.Row]
		}
		p.Tiles = append(p.Tiles, Rect{
			x0 + p.shift(n, cell.Col, best.w), y0 + cell.Row*(best.h+o.Gutter),
			span(k, best.w, o.Gutter), span(k, best.h, o.Gutter),
		})
	}
	return p, nil
}

// pack finds for every tile the top left cell of its block.
func pack(weights []int, cols int) (rows int, cells []Cell) {
	cells = make([]Cell, len(weights))
	var taken [][]bool
	free := func(row, col, k int) bool {
		for r := row; r < min(row+k, len(taken)); r++ {
			for q := col; q < col+k; q++ {
				if taken[r][q] {
					return false
				}
			}
		}
		return true
	}
	put := func(i, row, col, k int) {
		for len(taken) < row+k {
			taken = append(taken, make([]bool, cols))
		}
		for r := row; r < row+k; r++ {
			for q := col; q < col+k; q++ {
				taken[r][q] = true
			}
		}
		cells[i] = Cell{row, col}
	}
	// Large blocks first, each in the highest row that has room and as near the middle as it
	// allows: what is large is meant to be looked at.
	for i, k := range weights {
		if k == 1 {
			continue
		}
		for row, done := 0, false; !done; row++ {
			for _, col := range fromMiddle(cols - k + 1) {
				if free(row, col, k) {
					put(i, row, col, k)
					done = true
					break
				}
			}
		}
	}
	// Small ones fill what is left in reading order, so that they sit as in a plain grid.
	next := 0
	for i, k := range weights {
		if k != 1 {
			continue
		}
		for !free(next/cols, next%cols, 1) {
			next++
		}
		put(i, next/cols, next%cols, 1)
	}
	return len(taken), cells
}

// fromMiddle returns 0 to n-1, the middle first, then outwards, left before right.
func fromMiddle(n int) []int {
	out := make([]int, 0, n)
	left, right := (n-1)/2, (n-1)/2+1
	for len(out) < n {
		if left >= 0 {
			out = append(out, left)
			left--
		}
		if right < n {
			out = append(out, right)
			right++
		}
	}
	return out
}

// lightRows counts the tiles of rows that no heavy tile touches; those can be
// aligned like the last row of a grid. Other rows count 0.
func lightRows(weights []int, cells []Cell, rows int) []int {
	n := make([]int, rows)
	for i, c := range cells {
		if weights[i] == 1 {
			n[c.Row]++
		}
	}
	for i, c := range cells {
		for r := range weights[i] {
			if weights[i] > 1 {
				n[c.Row+r] = 0
			}
		}
	}
	return n
}
