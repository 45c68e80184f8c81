package plan

import (
	"fmt"
	"slices"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// seat is a take's rectangle.
type seat struct {
	take string
	tile layout.Rect
}

// arranger places takes on one canvas.
type arranger struct {
	p       *production.Production
	facts   map[string]Facts
	want    Want
	takes   map[string]production.Take
	places  map[string]int // of takes, see Places
	section map[string]int // place of a section from front to back
	grids   map[gridKey]layout.Plan
	untiled map[string]bool // takes that no shot shows
}

// gridKey is what the grid of a shot depends on besides its canvas.
type gridKey struct {
	tiles  int
	crowd  crowd
	aspect production.Aspect
}

func newArranger(p *production.Production, facts map[string]Facts, w Want) *arranger {
	h := &arranger{p: p, facts: facts, want: w, takes: map[string]production.Take{}, places: Places(p),
		section: map[string]int{}, grids: map[gridKey]layout.Plan{}}
	for _, t := range p.Takes {
		h.takes[t.Name] = t
	}
	for i, s := range p.Sections {
		h.section[s.Name] = i
	}
	return h
}

// arrange gives every take of a shot its rectangle, in seat order, on one
// sheet or, when tiles would be too small, on several that follow each other.
func (h *arranger) arrange(s shot.Shot) ([][]seat, error) {
	least := h.want.Canvas.EvenScale(float64(h.p.Picture.SmallestTile))
	if s.Show == shot.Solo && len(s.Takes) > 1 {
		return h.around(s, least)
	}
	plan, order, err := h.shape(s)
	if err != nil {
		return nil, h.tooMany(s, err)
	}
	if least > 0 && len(s.Takes) > 1 && smallest(plan) < least {
		return h.sheets(s, least)
	}
	sheet := make([]seat, len(s.Takes))
	for i, k := range order {
		sheet[k] = seat{s.Takes[k], plan.Tiles[i]}
	}
	return [][]seat{sheet}, nil
}

// shape lays out a shot on one sheet. order[i] is which of the shot's takes
// has tile i. Weights beat rows, and rows are for everybody's shot: a soloist
// or a section is a plain grid.
func (h *arranger) shape(s shot.Shot) (layout.Plan, []int, error) {
	c, o := h.want.Canvas, h.options(s)
	many := s.Show == shot.Tutti || s.Show == shot.Soli
	if !many {
		order := make([]int, len(s.Takes)) // as written
		for i := range order {
			order[i] = i
		}
		if o.Shapes != (layout.Shapes{}) {
			plan, err := h.fill(h.aspects(s.Takes), h.aspectOf(s))
			return plan, order, err
		}
		plan, err := h.grid(s, s.Takes, len(s.Takes))
		if s.Show == shot.Pair && err == nil {
			plan = sideBySide(plan, c, o)
		}
		return plan, order, err
	}
	order := h.inOrder(s.Takes)
	weights, heavy := make([]int, len(s.Takes)), false
	for i, k := range order {
		weights[i] = max(1, h.takes[s.Takes[k]].Weight)
		heavy = heavy || weights[i] > 1
	}
	switch {
	case heavy && len(s.Takes) > 1:
		plan, err := layout.Weighted(weights, c, o)
		return plan, order, err
	case h.p.Picture.Rows == production.SectionRows && s.Show == shot.Tutti:
		plan, err := layout.Sections(h.bySection(s.Takes, order), c, o)
		return plan, order, err
	case h.p.Picture.Rows == production.JustifiedRows:
		plan, err := layout.Justified(h.aspects(takesInOrder(s.Takes, order)), c, o)
		return plan, order, err
	}
	plan, err := h.seatGrid(s, takesInOrder(s.Takes, order))
	return plan, order, err
}

// takesInOrder returns the takes in an order.
func takesInOrder(takes []string, order []int) []string {
	out := make([]string, len(order))
	for i, k := range order {
		out[i] = takes[k]
	}
	return out
}

// bySection sorts an order of takes by section, from front to back, and tells
// how many each has.
func (h *arranger) bySection(takes []string, order []int) (sizes []int) {
	rank := func(i int) int {
		if r, ok := h.section[h.takes[takes[i]].Section]; ok {
			return r
		}
		return len(h.section) // those of no section, behind all others
	}
	slices.SortStableFunc(order, func(a, b int) int { return rank(a) - rank(b) })
	for i, k := range order {
		if i == 0 || rank(k) != rank(order[i-1]) {
			sizes = append(sizes, 0)
		}
		sizes[len(sizes)-1]++
	}
	return sizes
}

// sideBySide stands a pair left and right where that makes the tiles no
// smaller than one above the other, which is the grid's choice when both are
// equal.
func sideBySide(p layout.Plan, c layout.Canvas, o layout.Options) layout.Plan {
	gutter, margin := layout.CeilEven(o.Gutter), layout.CeilEven(o.Margin)
	half := layout.Canvas{W: layout.FloorEven((c.W - 2*margin - gutter) / 2), H: c.H - 2*margin}
	o.Margin = 0
	one, err := layout.Grid(1, half, o)
	if p.Rows == 1 || err != nil {
		return p
	}
	t, was := one.Tiles[0], p.Tiles[0]
	if t.W*t.H < was.W*was.H {
		return p
	}
	left := layout.FloorEven((c.W - 2*t.W - gutter) / 2)
	q := p
	q.Rows, q.Cols = 1, 2
	q.Tiles = []layout.Rect{{X: left, Y: t.Y + margin, W: t.W, H: t.H}, {X: left + t.W + gutter, Y: t.Y + margin,
		W: t.W, H: t.H}}
	return q
}

// sheets divides a shot over as few grids as keep tiles at least so high.
func (h *arranger) sheets(s shot.Shot, least int) ([][]seat, error) {
	plans, err := layout.Pages(len(s.Takes), h.want.Canvas, h.options(s), 2, least)
	if err != nil {
		return nil, h.tooMany(s, err)
	}
	if err := h.room(s, len(plans)); err != nil {
		return nil, err
	}
	takes := takesInOrder(s.Takes, h.inOrder(s.Takes))
	var out [][]seat
	for _, p := range plans {
		var sheet []seat
		for i, r := range p.Tiles {
			sheet = append(sheet, seat{takes[i], r})
		}
		takes, out = takes[len(p.Tiles):], append(out, sheet)
	}
	return out, nil
}

// around places a soloist and the others, those on several sheets when they
// would be lower than least.
func (h *arranger) around(s shot.Shot, least int) ([][]seat, error) {
	plans, err := layout.AroundPages(len(s.Takes), h.want.Canvas, h.options(s), least)
	if err != nil {
		return nil, fault.At(fault.Manifest, h.p.Shots[s.Want].Mark,
			fmt.Sprintf("%s: there is no room for others round take %q on a canvas of %s", h.want.Name, s.Takes[0],
				h.want.Canvas),
			"make smallest_tile smaller, or leave out others")
	}
	if err := h.room(s, len(plans)); err != nil {
		return nil, err
	}
	var out [][]seat
	others := s.Takes[1:]
	for _, p := range plans {
		sheet := []seat{{s.Takes[0], p.Tiles[0]}}
		for _, r := range p.Tiles[1:] {
			sheet = append(sheet, seat{others[0], r})
			others = others[1:]
		}
		out = append(out, sheet)
	}
	return out, nil
}

// room returns the fault of a shot with more pages than frames.
func (h *arranger) room(s shot.Shot, pages int) error {
	if pages <= s.To-s.From {
		return nil
	}
	return fault.New(fault.Manifest, h.p.Path, fmt.Sprintf("%s: %d takes need %d pages, more than the shot has frames",
		h.want.Name, len(s.Takes), pages),
		"make the shot longer, or smallest_tile smaller")
}

// tooMany returns the fault of takes that do not fit.
func (h *arranger) tooMany(s shot.Shot, err error) error {
	return fault.New(fault.Manifest, h.p.Path, fmt.Sprintf("%s: %d takes do not fit on a canvas of %s", h.want.Name,
		len(s.Takes), h.want.Canvas),
		"use a larger canvas, a smaller gutter, or shots that show one section at a time").Because(err)
}

// smallest returns the height of the lowest tile.
func smallest(p layout.Plan) int {
	low := p.Tiles[0].H
	for _, t := range p.Tiles {
		low = min(low, t.H)
	}
	return low
}
