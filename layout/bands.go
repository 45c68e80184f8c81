package layout

// A large tile of any shape with small ones of any shape beside it leaves nothing
// of the canvas free: the small ones fill a band at the right, below it, or at
// both sides or ends, each band as Fill fills a canvas.

// bandSteps is how many thicknesses of a band are tried, from a tenth of the canvas
// to three fifths.
const bandSteps = 16

// bands returns the best such arrangement inside the margin, the large tile first,
// and its score, which is that of [around] times the share of the canvas that is
// covered; 0 when there is none.
func (a *around) bands() (best []Rect, score float64) {
	for step := range bandSteps {
		part := 0.1 + 0.5*float64(step)/(bandSteps-1)
		for _, below := range []bool{false, true} {
			for _, both := range []bool{false, true} {
				if both && a.m < 4 {
					continue
				}
				if tiles := a.band(part, below, both); tiles != nil {
					if s := a.rate(tiles); s > score {
						best, score = tiles, s
					}
				}
			}
		}
	}
	return best, score
}

// band stands the small tiles in bands that take such a part of the canvas; nil
// where that is no arrangement.
func (a *around) band(part float64, below, both bool) []Rect {
	c := a.inner
	if below { // as if it were beside, with the axes changed
		c.W, c.H = c.H, c.W
	}
	counts := []int{a.m}
	if both {
		counts = []int{a.m / 2, a.m - a.m/2}
	}
	thick := floorEven(int(part * float64(c.W) / float64(len(counts))))
	wide := c.W - len(counts)*(thick+a.Gutter)
	if thick < MinTile || wide < MinTile || c.H < MinTile {
		return nil
	}
	large := Rect{0, 0, wide, c.H}
	at := []int{wide + a.Gutter}
	if both {
		large.X = thick + a.Gutter
		at = []int{0, large.Right() + a.Gutter}
	}
	out := []Rect{flipped(large, below)}
	for i, n := range counts {
		room := flipped(Rect{at[i], 0, thick, c.H}, below)
		small := a.fillBand(n, Canvas{room.W, room.H})
		if small == nil {
			return nil
		}
		for _, r := range small {
			if r.H < a.least || 2*out[0].W < larger*r.W || 2*out[0].H < larger*r.H {
				return nil
			}
			out = append(out, Rect{r.X + room.X, r.Y + room.Y, r.W, r.H})
		}
	}
	return out
}

// fillBand returns n tiles that fill a band, nil when they do not fit.
func (a *around) fillBand(n int, c Canvas) []Rect {
	o := a.Options
	o.Margin, o.Align = 0, Stretched
	aspects := make([]float64, n)
	for i := range aspects {
		aspects[i] = a.picture()
	}
	p, err := Fill(aspects, c, o)
	if err != nil {
		return nil
	}
	return p.Tiles
}

// picture returns the shape of most pictures.
func (a *around) picture() float64 {
	if a.Picture > 0 {
		return a.Picture
	}
	return a.Shapes.Most
}

// rate returns the score of an arrangement with the large tile first: its worth squared
// times that of the small ones, who count as many times the least of them would.
func (a *around) rate(tiles []Rect) float64 {
	worth := func(r Rect) float64 { return a.Shapes.Worth(float64(r.W), float64(r.H), a.picture()) }
	sum, area := 0.0, 0
	for _, r := range tiles {
		area += r.W * r.H
	}
	for _, r := range tiles[1:] {
		sum += 1 / worth(r)
	}
	big, m := worth(tiles[0]), float64(a.m)
	return big * big * m * m / sum * float64(area) / float64(a.inner.W*a.inner.H)
}

// cover returns the share of a canvas that the best arrangement of equal tiles covers.
func (a *around) cover(c Canvas) float64 {
	t := a.best
	return float64(t.bw*t.bh+a.m*t.w*t.h) / float64(c.W*c.H)
}

// flipped changes the axes of a rectangle when asked to.
func flipped(r Rect, flip bool) Rect {
	if flip {
		return Rect{r.Y, r.X, r.H, r.W}
	}
	return r
}
