package card

import (
	"fmt"
	"image/color"
	"strings"
)

// choices writes how a take stands and the places to choose from, in as many lines
// as the row holds.
func (g syncSheet) choices(p *picture, s *setter, r SyncRow, ink color.NRGBA, x, y float64) {
	high := 15 * g.unit
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
// its point is where the clap or first note would be. Number 1 lies on top.
func (g syncSheet) rivals(p *picture, s *setter, o SyncWindow, w int, t SyncTrace, y float64, tint color.NRGBA) {
	top, half := y+3*g.unit, 8*g.unit
	shaft, point := min(15*g.unit, 0.45*g.row), 6*g.unit
	clip := inside(box{g.left(w) - half, top, g.left(w) + g.plot + half, y + g.row})
	for i := len(t.Rivals) - 1; i >= 0; i-- {
		at := t.Rivals[i]
		if !(at >= o.From && at <= o.To) {
			continue
		}
		x := g.x(o, w, at)
		// A pale edge parts it from strokes of its colour and from its neighbours.
		for _, edge := range []struct {
			grow float64
			tint color.NRGBA
		}{{1.5 * g.unit, white}, {0, tint}} {
			e := edge.grow
			b := box{x - half - e, top, x + half + e, top + shaft + point + 1.5*e}
			p.paint(b, clip, edge.tint, func(n pen) {
				n.move(b.x0, b.y0)
				n.line(b.x1, b.y0)
				n.line(b.x1, top+shaft+0.5*e)
				n.line(x, b.y1)
				n.line(b.x0, top+shaft+0.5*e)
				n.ClosePath()
			})
		}
		number := s.set(fmt.Sprint(i+1), bold, min(13*g.unit, shaft))
		s.check(number)
		p.write(number, x-number.width/2, top+0.5*shaft+0.42*number.px, white, clip)
	}
}
