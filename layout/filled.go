package layout

// plan makes the rectangles of a way.
func (f *filling) plan(w filled) Plan {
	p := Plan{Canvas: f.canvas, Gutter: f.Gutter, Align: f.Align, way: &w}
	if w.w > 0 {
		p.Rows, p.Cols = w.lines, (f.n+w.lines-1)/w.lines
		p.Tiles = p.rows(fill(f.n, p.Cols), w.w, w.h)
		return p
	}
	p.cells = f.cells(w.lines, w.columns)
	for _, c := range p.cells {
		p.Rows, p.Cols = max(p.Rows, c.Row+1), max(p.Cols, c.Col+1)
	}
	short, longer := f.split(w.lines)
	along, _ := f.room(w.columns)
	edges := make([]int, w.lines+1) // of the lines, from the margin, each with a gutter behind it
	at := 0.0
	for i := range w.lines {
		thick := w.short
		if i < longer || longer == 0 {
			thick = w.long
		}
		at += thick + float64(f.Gutter)
		edges[i+1] = nearEven(at)
	}
	for _, c := range p.cells {
		line, i, length := c.Row, c.Col, short
		if w.columns {
			line, i = c.Col, c.Row
		}
		if line < longer {
			length++
		}
		edge := func(i int) int { return nearEven((along + float64(f.Gutter)) * float64(i) / float64(length)) }
		r := Rect{edge(i), edges[line], edge(i+1) - edge(i) - f.Gutter, edges[line+1] - edges[line] - f.Gutter}
		if w.columns {
			r = Rect{r.Y, r.X, r.H, r.W}
		}
		r.X, r.Y = r.X+f.Margin, r.Y+f.Margin
		p.Tiles = append(p.Tiles, r)
	}
	p.rects = p.Tiles
	return p
}
