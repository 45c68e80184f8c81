package layout

// Sections places equal tiles so that every section begins a new row, as an
// ensemble sits: sizes[i] tiles for section i, in order, front row first. A
// section longer than a row takes several of about equal length. Among all
// row lengths the one with the largest tiles wins, with Grid's order for ties.
//
// Tiles are in seat order: all of section 0, then all of section 1. Errors are
// Grid's; a section may not be empty.
func Sections(sizes []int, c Canvas, o Options) (Plan, error) {
	n := 0
	for i, size := range sizes {
		if size < 1 || size > MaxTiles {
			return Plan{}, argument("sections", "number %d has %d tiles", i+1, size)
		}
		n += size
	}
	o, err := check(n, c, o)
	if err != nil {
		return Plan{}, err
	}
	best, ok := search(n, c, o, func(cols int) (rows, empty int) {
		for _, size := range sizes {
			rows += (size + cols - 1) / cols
		}
		return rows, rows*cols - n
	})
	if !ok {
		return Plan{}, &TooSmallError{n, c, MinTile, MinTile}
	}
	var lengths []int
	longest := 0
	for _, size := range sizes {
		rows := (size + best.cols - 1) / best.cols
		for r := range rows {
			// The first rows take one more until the rest is even.
			k := size / rows
			if r < size%rows {
				k++
			}
			lengths, longest = append(lengths, k), max(longest, k)
		}
	}
	p := Plan{Canvas: c, Rows: best.rows, Cols: longest, Gutter: o.Gutter, Align: o.Align}
	p.Tiles = p.rows(lengths, best.w, best.h)
	return p, nil
}

// Pages splits n tiles over as few pages as keep every tile at least minW by
// minH pixels. Pages hold equally many tiles or one fewer, all of one size and
// in the same cells, so a page turn moves nothing but the pictures.
//
// Errors are Grid's, except that a canvas too small for one such tile is a
// *TooSmallError with Count 1.
func Pages(n int, c Canvas, o Options, minW, minH int) ([]Plan, error) {
	if _, err := check(n, c, o); err != nil {
		return nil, err
	}
	pages := splitPages(n,
		func(most int) (Plan, bool) {
			p, err := Grid(most, c, o)
			return p, err == nil && p.Tiles[0].W >= minW && p.Tiles[0].H >= minH
		},
		func(p Plan, k int) []Rect { return p.rows(fill(k, p.Cols), p.Tiles[0].W, p.Tiles[0].H) })
	if pages == nil {
		return nil, &TooSmallError{1, c, max(minW, MinTile), max(minH, MinTile)}
	}
	return pages, nil
}

// splitPages spreads n tiles over as few pages as can be, equally many on each
// or one fewer. full returns the plan of a page with most tiles, and false when
// it is refused; tiles returns those of a page of that plan with k of them. The
// result is nil when even a page of one tile is refused.
func splitPages(n int, full func(most int) (Plan, bool), tiles func(p Plan, k int) []Rect) []Plan {
	for count := 1; count <= n; count++ {
		p, ok := full((n + count - 1) / count)
		if !ok {
			continue
		}
		pages := make([]Plan, count)
		for i := range pages {
			k := n / count
			if i < n%count {
				k++
			}
			pages[i] = p
			pages[i].Tiles = tiles(p, k)
		}
		return pages
	}
	return nil
}

// fill returns the lengths of the rows of n tiles, cols to a row.
func fill(n, cols int) (lengths []int) {
	for ; n > 0; n -= cols {
		lengths = append(lengths, min(n, cols))
	}
	return lengths
}
