package plan

import (
	"cmp"
	"slices"

	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// Places numbers the takes by where they sit, from 1: by their seat: where the
// manifest writes one, the others in the order of the manifest in the seats
// that are left. Once the manifest says how many seats there were when they
// were given (seats:), a take without one sits behind all others, wherever its
// line is.
func Places(p *production.Production) map[string]int {
	places := make(map[string]int, len(p.Takes))
	used := map[int]bool{}
	last := p.Seats
	for _, t := range p.Takes {
		if t.Seat > 0 {
			places[t.Name], used[t.Seat] = t.Seat, true
			last = max(last, t.Seat)
		}
	}
	next := 1
	if p.Seats > 0 {
		next = last + 1
	}
	for _, t := range p.Takes {
		if t.Seat > 0 {
			continue
		}
		for used[next] {
			next++
		}
		places[t.Name] = next
		next++
	}
	return places
}

// inOrder returns which of the takes sits where: the first element is the number
// of the one with the lowest seat.
func inOrder[T any](takes []T, name func(T) string, places map[string]int) []int {
	order := make([]int, len(takes))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		return cmp.Compare(places[name(takes[a])],
			places[name(takes[b])])
	})
	return order
}

// inOrder returns that of the takes of a shot.
func (h *arranger) inOrder(takes []string) []int {
	return inOrder(takes, func(name string) string { return name }, h.places)
}

// seatGrid returns a grid of takes, which are in the order of their seats. Those of
// the first seats stand in reading order, as in the grid that was made for so
// many; every later one takes a free cell, and when the grid has other rows
// and columns for it, as few as possible move. A tutti has all takes of the
// production; then a seat that nobody has stays free as long as
// no later take fills it.
func (h *arranger) seatGrid(s shot.Shot, takes []string) (layout.Plan, error) {
	all := s.Show == shot.Tutti
	founders := len(takes)
	if h.p.Seats > 0 {
		founders, _ = slices.BinarySearchFunc(takes, h.p.Seats+1,
			func(name string, seat int) int { return cmp.Compare(h.places[name], seat) })
	}
	size := founders // of the first grid
	if all && founders > 0 && h.p.Seats > 0 {
		size = h.p.Seats
	}
	if size == len(takes) && founders == len(takes) || founders == 0 {
		return h.grid(s, takes, len(takes))
	}
	now, err := h.grid(s, takes, size)
	if err != nil { // for far more than there are
		return h.grid(s, takes, len(takes))
	}
	cells, own := make([]layout.Cell, founders), now.Cells()
	for i, name := range takes[:founders] {
		at := i
		if all {
			at = h.places[name] - 1
		}
		cells[i] = own[at]
	}
	for n := founders + 1; n <= len(takes); n++ {
		if n > size {
			if now, err = h.grid(s, takes, n); err != nil {
				return now, err
			}
		}
		if cells, err = layout.Reseat(cells, first(now, n)); err != nil {
			return now, err
		}
	}
	if size > len(takes) && h.aspectOf(s).Shapes != (layout.Shapes{}) {
		// The places of those who are gone stay, too: without them the others
		// would have another shape.
		if now, err = h.grid(s, takes, size); err != nil {
			return now, err
		}
		now = first(now, len(takes))
	} else if now, err = h.grid(s, takes, len(takes)); err != nil {
		return now, err
	}
	if cells, err = layout.Reseat(cells, now); err != nil {
		return now, err
	}
	return now.Arrange(cells)
}

// first returns a grid with its first n tiles alone.
func first(p layout.Plan, n int) layout.Plan {
	p.Tiles = p.Tiles[:n]
	return p
}
