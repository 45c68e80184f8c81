package card

import (
	"fmt"
	"image/color"
	"strings"
)

// saysWidth returns the width of the words beside the traces, in units: places to choose
// from need more of it.
func saysWidth(rows []SyncRow) float64 {
	for _, r := range rows {
		if len(r.Rivals) > 0 {
			return 240
		}
	}
	return 176
}

// choices writes how a take stands and the places to choose from, in as many lines
// as the row holds.
func (g syncSheet) choices(p *picture, s *setter, r SyncRow, ink color.NRGBA, x, y float64) {
	high := 14 * g.unit
	lines := packed(append([]string{r.Says}, r.Rivals...), max(1, int(g.row/high)))
	base := y + (g.row-float64(len(lines))*high)/2 + 0.75*high
	for i, text := range lines {
		tint := planInk
		if i == 0 {
			tint = ink
		}
		p.write(s.fit(text, regular, g.small, g.unit*8, g.says-10*g.unit), x, base+float64(i)*high, tint, g.page)
	}
}

// packed joins texts, in their order, so that there are n lines at most. Those
// at the end share a line before those at the beginning do.
func packed(texts []string, n int) []string {
	var lines []string
	for i := range n {
		// What is left is spread over the lines that are left, the first of
		// them getting the fewest.
		k := len(texts) / (n - i)
		if k == 0 && len(texts) > 0 {
			k = 1
		}
		if k > 0 {
			lines, texts = append(lines, strings.Join(texts[:k], "  ")), texts[k:]
		}
	}
	return lines
}

// rivals draws a numbered wedge at every place of a take that falls into a window:
// its point is where the clap or first note would be. One that falls into none
// stands at the end of the window before it, or the beginning of the first, and
// points out of that. Number 1 lies on top.
func (g syncSheet) rivals(p *picture, s *setter, o SyncOptions, w int, t SyncTrace, y float64, tint color.NRGBA) {
	win, step := o.Windows[w], 24*g.unit
	left, right := g.left(w), g.left(w)+g.plot
	for i, at := range t.Rivals {
		switch {
		case w == 0 && at < win.From:
			g.tag(p, s, left, -1, y, i+1, tint)
			left += step
		case at > win.To && (w+1 == len(o.Windows) || at < o.Windows[w+1].From):
			g.tag(p, s, right, 1, y, i+1, tint)
			right -= step
		}
	}
	for i := len(t.Rivals) - 1; i >= 0; i-- {
		if at := t.Rivals[i]; at >= win.From && at <= win.To {
			g.tag(p, s, g.x(win, w, at), 0, y, i+1, tint)
		}
	}
}

// tag draws a number in a wedge whose point is at x: below it, or beside it for
// a side of -1 (left) and 1.
func (g syncSheet) tag(p *picture, s *setter, x, side, y float64, n int, tint color.NRGBA) {
	half, point := 8*g.unit, 6*g.unit
	shaft := min(15*g.unit, 0.45*g.row)
	top := y + 3*g.unit
	middle := x - side*(half+point)
	clip := inside(box{middle - half - point, top, middle + half + point, y + g.row})
	// A pale edge parts it from strokes of its colour and from its neighbours.
	for _, edge := range []struct {
		grow float64
		tint color.NRGBA
	}{{1.5 * g.unit, white}, {0, tint}} {
		e := edge.grow
		b := box{middle - half - e, top, middle + half + e, top + shaft + 0.5*e}
		p.paint(box{b.x0 - point - e, b.y0, b.x1 + point + e, b.y1 + point + e}, clip, edge.tint, func(pen pen) {
			pen.move(b.x0, b.y0)
			pen.line(b.x1, b.y0)
			if side > 0 {
				pen.line(b.x1+point+e, (b.y0+b.y1)/2)
			}
			pen.line(b.x1, b.y1)
			if side == 0 {
				pen.line(x, b.y1+point+e)
			}
			pen.line(b.x0, b.y1)
			if side < 0 {
				pen.line(b.x0-point-e, (b.y0+b.y1)/2)
			}
			pen.ClosePath()
		})
	}
	number := s.set(fmt.Sprint(n), bold, min(13*g.unit, shaft))
	s.check(number)
	p.write(number, middle-number.width/2, top+0.5*shaft+0.42*number.px, white, clip)
}
