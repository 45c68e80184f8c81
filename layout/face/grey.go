package face

import "math"

// grey is a picture of w·h grey values, row by row.
type grey struct {
	w, h int
	pix  []byte
}

// newGrey returns a copy of a picture, smaller by a whole factor: the mean of k·k
// pixels.
func newGrey(w, h int, pix []byte, k int) grey {
	g := grey{w: max(1, w/k), h: max(1, h/k)}
	g.pix = make([]byte, g.w*g.h)
	if k == 1 {
		copy(g.pix, pix)
		return g
	}
	for y := range g.h {
		for x := range g.w {
			sum := 0
			for v := y * k; v < min(h, y*k+k); v++ {
				for u := x * k; u < min(w, x*k+k); u++ {
					sum += int(pix[v*w+u])
				}
			}
			n := (min(h, y*k+k) - y*k) * (min(w, x*k+k) - x*k)
			g.pix[y*g.w+x] = byte((sum + n/2) / n)
		}
	}
	return g
}

// view is a square window on a picture, turned and scaled: what is at (u, v) in
// it, in pixels from its middle, is in the picture at the middle plus the turned
// (u, v) times scale.
type view struct {
	x, y     float64 // its middle in the picture, pixels
	sin, cos float64 // of the turn
	scale    float64 // pixels of the picture for one of the view
}

// newView returns a view of a middle at a scale, turned by so many degrees.
func newView(x, y, scale, degrees float64) view {
	s, c := math.Sincos(degrees * math.Pi / 180)
	return view{x: x, y: y, sin: s, cos: c, scale: scale}
}

// at returns the place in the picture, in its pixels, of a place in the view. Products are
// rounded one by one, so that processors which fuse them find the same faces.
func (v view) at(u, w float64) (x, y float64) {
	return v.x + float64(v.scale*(float64(v.cos*u)-float64(v.sin*w))),
		v.y + float64(v.scale*(float64(v.sin*u)+float64(v.cos*w)))
}

// look draws the view of a picture as one of w·h pixels, between the nearest
// four; what lies outside the picture is as its edge.
func (g grey) look(v view, w, h int) grey {
	out := grey{w: w, h: h, pix: make([]byte, w*h)}
	// In steps of 1/65536: whole numbers come out alike on every processor.
	fix := func(f float64) int { return int(math.Round(f * 65536)) }
	dx, dy := fix(v.scale*v.cos), fix(v.scale*v.sin)
	for row := range h {
		x0, y0 := v.at(0.5-float64(w)/2, float64(row)+0.5-float64(h)/2)
		x, y := fix(x0-0.5), fix(y0-0.5)
		for col := range w {
			out.pix[row*w+col] = g.between(x+col*dx, y+col*dy)
		}
	}
	return out
}

// between returns the value at a place in 1/65536 of a pixel, by its four
// neighbours.
func (g grey) between(x, y int) byte {
	u, v := x>>16, y>>16
	fx, fy := (x>>8)&255, (y>>8)&255
	if uint(u) < uint(g.w-1) && uint(v) < uint(g.h-1) { // nearly always
		p := g.pix[v*g.w+u:]
		q := p[g.w : g.w+2]
		top, low := int(p[0])*(256-fx)+int(p[1])*fx, int(q[0])*(256-fx)+int(q[1])*fx
		return byte((top*(256-fy) + low*fy + 1<<15) >> 16)
	}
	u0, u1 := min(max(u, 0), g.w-1), min(max(u+1, 0), g.w-1)
	v0, v1 := min(max(v, 0), g.h-1)*g.w, min(max(v+1, 0), g.h-1)*g.w
	top := int(g.pix[v0+u0])*(256-fx) + int(g.pix[v0+u1])*fx
	low := int(g.pix[v1+u0])*(256-fx) + int(g.pix[v1+u1])*fx
	return byte((top*(256-fy) + low*fy + 1<<15) >> 16)
}
