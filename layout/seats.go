package layout

import (
	"fmt"
	"slices"
)

// A seat is a take's stable place. Seats are given in the order of the takes:
// tile i of a Grid belongs to take i. A take that is expected but not in yet
// holds its place in that order, so its arrival moves nobody. For a take that
// nobody expected the grid may need other rows and columns, in which reading
// order would move nearly everybody: Reseat moves as few as possible.

// Cell is a place in a grid of rows and columns, both from 0.
type Cell struct{ Row, Col int }

// Cells lists the cells of a plan made by Grid or Fill, in reading order.
func (p Plan) Cells() []Cell { return slices.Clone(p.places()[:len(p.Tiles)]) }

// places lists all cells that the plan has, in reading order; after Arrange that
// can be more than there are tiles.
func (p Plan) places() []Cell {
	if p.cells != nil {
		return p.cells
	}
	cells := make([]Cell, p.Rows*p.Cols)
	for i := range cells {
		cells[i] = Cell{i / p.Cols, i % p.Cols}
	}
	return cells
}

// Reseat finds a cell for every tile of plan p, made by Grid or Fill. before are the cells
// that the first tiles had in another grid; the other tiles are new. A tile
// keeps its cell when the plan has it; the others take the free cells in
// reading order. So only those move whose cell is gone, and no assignment
// moves fewer.
//
// Errors: more cells before than tiles, two tiles with one cell before.
func Reseat(before []Cell, p Plan) ([]Cell, error) {
	if len(before) > len(p.Tiles) {
		return nil, argument("seats", "%d for %d tiles", len(before), len(p.Tiles))
	}
	all := p.places()
	taken := make(map[Cell]bool, len(all)) // those that are cells of p
	for _, c := range all {
		taken[c] = false
	}
	for _, c := range before {
		used, has := taken[c]
		if used {
			return nil, argument("seats", "two had %s", c)
		}
		if has {
			taken[c] = true
		}
	}
	cells := make([]Cell, len(p.Tiles))
	next := 0 // the next cell to try, in reading order
	for i := range cells {
		if i < len(before) {
			if _, has := taken[before[i]]; has {
				cells[i] = before[i]
				continue
			}
		}
		for taken[all[next]] {
			next++
		}
		cells[i] = all[next]
		next++
	}
	return cells, nil
}

// Arrange moves the tiles of a plan made by Grid or Fill to other cells: tile i to
// cells[i]. A row of equal tiles filled from the left without a hole is aligned as the
// plan says; a row with a hole keeps its columns, so that the hole shows. It fails for
// another number of cells than tiles, for a cell outside of the grid, and for one that
// is given twice.
func (p Plan) Arrange(cells []Cell) (Plan, error) {
	if len(cells) != len(p.Tiles) || len(cells) == 0 {
		return p, argument("cells", "%d for %d tiles", len(cells), len(p.Tiles))
	}
	if p.cells != nil {
		return p.arrangeUneven(cells)
	}
	length := make([]int, p.Rows) // tiles in the row
	reach := make([]int, p.Rows)  // columns up to the last tile of the row
	used := make(map[Cell]bool, len(cells))
	for _, c := range cells {
		if c.Row < 0 || c.Col < 0 || c.Row >= p.Rows || c.Col >= p.Cols || used[c] {
			return p, argument("cells", "%s is outside %d rows of %d or taken twice", c, p.Rows, p.Cols)
		}
		used[c] = true
		length[c.Row]++
		reach[c.Row] = max(reach[c.Row], c.Col+1)
	}
	w, h := p.Tiles[0].W, p.Tiles[0].H
	x0, y0 := p.origin(w, h)
	q := p
	q.Tiles = make([]Rect, len(cells))
	for i, c := range cells {
		n := length[c.Row]
		if reach[c.Row] > n {
			n = p.Cols
		}
		q.Tiles[i] = Rect{x0 + p.shift(n, c.Col, w), y0 + c.Row*(h+p.Gutter), w, h}
	}
	return q, nil
}

// arrangeUneven does what Arrange does, for a plan with rows or columns of several lengths,
// whose cells have rectangles of their own.
func (p Plan) arrangeUneven(cells []Cell) (Plan, error) {
	place := make(map[Cell]Rect, len(p.cells))
	for i, c := range p.cells {
		place[c] = p.rects[i]
	}
	q := p
	q.Tiles = make([]Rect, len(cells))
	for i, c := range cells {
		r, free := place[c]
		if !free {
			return p, argument("cells", "%s is none of the plan's or taken twice", c)
		}
		delete(place, c)
		q.Tiles[i] = r
	}
	return q, nil
}

// String returns the cell as "row 2, column 3", counting from 1 as people do.
func (c Cell) String() string { return fmt.Sprintf("row %d, column %d", c.Row+1, c.Col+1) }
