package figure

import "math"

// point is a place in units or pixels.
type point struct{ x, y float64 }

// plus, minus, times, to and length are those of vectors; to returns the point a share x of
// the way to q.
func (p point) plus(q point) point          { return point{p.x + q.x, p.y + q.y} }
func (p point) minus(q point) point         { return point{p.x - q.x, p.y - q.y} }
func (p point) times(s float64) point       { return point{p.x * s, p.y * s} }
func (p point) to(q point, x float64) point { return p.plus(q.minus(p).times(x)) }
func (p point) length() float64             { return math.Hypot(p.x, p.y) }

// matrix maps units to pixels: x' = a·x + c·y + e, y' = b·x + d·y + f.
type matrix struct{ a, b, c, d, e, f float64 }

var identity = matrix{a: 1, d: 1}

// apply returns where a point in units is in pixels.
func (m matrix) apply(p point) point {
	return point{m.a*p.x + m.c*p.y + m.e, m.b*p.x + m.d*p.y + m.f}
}

// times returns m after n: first n is applied, then m.
func (m matrix) times(n matrix) matrix {
	return matrix{
		m.a*n.a + m.c*n.b, m.b*n.a + m.d*n.b,
		m.a*n.c + m.c*n.d, m.b*n.c + m.d*n.d,
		m.a*n.e + m.c*n.f + m.e, m.b*n.e + m.d*n.f + m.f,
	}
}

// place moves the origin to p, turned by degrees (clockwise on the screen) and
// enlarged.
func place(p point, degrees, scale float64) matrix {
	s, c := math.Sincos(degrees * math.Pi / 180)
	return matrix{scale * c, scale * s, -scale * s, scale * c, p.x, p.y}
}

// canvas is a frame with a way to it. Copies share the frame and the scratch
// memory, so that a part of a figure can have its own origin.
type canvas struct {
	frame   *Frame
	way     matrix
	scratch *scratch
}

// scratch is memory that fills share. Between fills cover is all zero.
type scratch struct {
	cover  []int32 // change of coverage from pixel to pixel, row by row; full is 1<<16
	stride int
	touch  []reach    // for every row of the box
	rows   [2][]int32 // opacity in two rows, 0 to 256
	pixels [][]point  // the shape in pixels
}

// reach is the part of a row that has a change of coverage: from, not to.
type reach struct{ from, to int }

// size makes room for a box of w by h pixels.
func (s *scratch) size(w, h int) {
	s.stride = w + 2
	if len(s.cover) < s.stride*h {
		s.cover = make([]int32, s.stride*h)
	}
	if len(s.touch) < h {
		s.touch = make([]reach, h)
	}
	for i := range h {
		s.touch[i] = reach{w, 0}
	}
	for i := range s.rows {
		if len(s.rows[i]) < w {
			s.rows[i] = make([]int32, w)
		}
	}
}

// newCanvas returns a canvas on a frame, with scratch memory of its own; way maps units to
// pixels.
func newCanvas(f *Frame, way matrix) canvas {
	return canvas{f, way, &scratch{}}
}

// in returns the canvas seen from inside m.
func (c canvas) in(m matrix) canvas {
	c.way = c.way.times(m)
	return c
}

// box is a rectangle of whole pixels, even so that it holds whole colour
// samples.
type box struct{ x0, y0, x1, y1 int }

// bounds puts the shape in pixels into the scratch memory and returns the part
// of the frame it can touch.
func (c canvas) bounds(s shape) box {
	lo, hi := point{math.Inf(1), math.Inf(1)}, point{math.Inf(-1), math.Inf(-1)}
	out := c.scratch.pixels
	for i, outline := range s {
		if i == len(out) {
			out = append(out, nil)
		}
		out[i] = out[i][:0]
		for _, p := range outline {
			q := c.way.apply(p)
			out[i] = append(out[i], q)
			lo = point{min(lo.x, q.x), min(lo.y, q.y)}
			hi = point{max(hi.x, q.x), max(hi.y, q.y)}
		}
	}
	c.scratch.pixels = out
	even := func(v float64, limit int) int { // clamp first: a huge float is no int
		return int(min(max(v, 0), float64(limit))) &^ 1
	}
	return box{
		even(math.Floor(lo.x), c.frame.W), even(math.Floor(lo.y), c.frame.H),
		even(math.Ceil(hi.x)+1, c.frame.W), even(math.Ceil(hi.y)+1, c.frame.H),
	}
}

// fill paints a shape, smooth at the edges. Outlines of one shape that overlap
// and turn the same way become one; a hole turns the other way.
//
// Every edge adds the area it covers to the pixels of its rows, as a change
// against the pixel to the left; a running sum along the row gives exact
// coverage (the signed-area accumulation known from font rasterisers).
func (c canvas) fill(s shape, paint colour) {
	b := c.bounds(s)
	w, h := b.x1-b.x0, b.y1-b.y0
	if w <= 0 || h <= 0 || paint.alpha <= 0 {
		return
	}
	c.scratch.size(w, h)
	origin := point{float64(b.x0), float64(b.y0)}
	for _, outline := range c.scratch.pixels[:len(s)] {
		last := outline[len(outline)-1].minus(origin)
		for _, p := range outline {
			p = p.minus(origin)
			c.scratch.edge(w, h, last, p)
			last = p
		}
	}
	c.blend(b, paint)
}

// edge adds the line from p to q in a box of w by h pixels.
func (s *scratch) edge(w, h int, p, q point) {
	if p.y == q.y {
		return
	}
	sign := 1.0
	if p.y > q.y {
		sign, p, q = -1, q, p
	}
	slope := (q.x - p.x) / (q.y - p.y)
	first, last := max(int(math.Floor(p.y)), 0), min(int(math.Ceil(q.y)), h)
	for y := first; y < last; y++ {
		top, bottom := max(float64(y), p.y), min(float64(y+1), q.y)
		xa, xb := p.x+(top-p.y)*slope, p.x+(bottom-p.y)*slope
		if xa > xb {
			xa, xb = xb, xa
		}
		// Left of the box still covers everything to the right; right of it
		// covers nothing.
		xa, xb = min(max(xa, 0), float64(w)), min(max(xb, 0), float64(w))
		spread(s.cover[y*s.stride:(y+1)*s.stride], xa, xb, sign*(bottom-top))
		t := &s.touch[y]
		t.from, t.to = min(t.from, int(xa)), max(t.to, int(xb)+2)
	}
}

// full is the coverage of a whole pixel. Whole numbers add up without rounding,
// so that nothing is left over to the right of a shape.
const full = 1 << 16

// spread puts the coverage d of an edge that crosses one row between xa and xb
// into that row.
func spread(row []int32, xa, xb, d float64) {
	rest := int32(math.Round(d * full))
	i, j := int(xa), int(math.Ceil(xb))
	if j <= i+1 { // within one pixel
		here := int32(d * full * (1 + float64(i) - (xa+xb)/2))
		row[i] += here
		row[i+1] += rest - here
		return
	}
	// The edge's part in pixel k, and how far from the pixel's left side
	// that part lies on average, give the coverage of k and k+1.
	step := d * full / (xb - xa)
	for k := i; k < j; k++ {
		left, right := max(xa, float64(k)), min(xb, float64(k+1))
		share := (right - left) * step
		part := (left+right)/2 - float64(k)
		here, next := int32(share*(1-part)), int32(share*part)
		row[k] += here
		row[k+1] += next
		rest -= here + next
	}
	row[j] += rest
}

// blend lays the paint over the frame where the coverage says, and clears the
// coverage.
func (c canvas) blend(b box, paint colour) {
	s := c.scratch
	w := b.x1 - b.x0
	ys, us, vs := c.frame.planes()
	for y := b.y0; y < b.y1; y += 2 {
		k := y - b.y0
		from, to := min(s.touch[k].from, s.touch[k+1].from), max(s.touch[k].to, s.touch[k+1].to)
		from, to = from&^1, min((to+1)&^1, w)
		for i := range 2 {
			r := s.rows[i]
			if from < to {
				opacity(r[from:to], s.cover[(k+i)*s.stride+from:], paint.alpha)
				start := (y+i)*c.frame.W + b.x0
				lay(ys[start+from:start+to], r[from:to], paint.y)
			}
			if t := s.touch[k+i]; t.from < t.to {
				clear(s.cover[(k+i)*s.stride:][t.from:min(t.to, s.stride)])
			}
		}
		if from < to {
			start := y/2*(c.frame.W/2) + b.x0/2
			colours(us[start+from/2:start+to/2], vs[start+from/2:start+to/2], s.rows[0][from:to], s.rows[1][from:to],
				paint)
		}
	}
}

// opacity turns changes of coverage into opacities of 0 to 256.
func opacity(dst, cover []int32, alpha float64) {
	strength := int32(alpha*256 + 0.5)
	sum := int32(0)
	cover = cover[:len(dst)]
	for i, d := range cover {
		sum += d
		a := min(max(sum, -sum), full)
		dst[i] = (a*strength + full/2) >> 16
	}
}

// lay moves each sample toward value, by 256 parts all the way.
func lay(dst []byte, opacity []int32, value int32) {
	opacity = opacity[:len(dst)]
	for i, a := range opacity {
		if a != 0 {
			old := int32(dst[i])
			dst[i] = byte(old + ((value-old)*a+128)>>8)
		}
	}
}

// colours lays the colour samples, each under four opacities.
func colours(us, vs []byte, upper, lower []int32, paint colour) {
	for i := range us {
		a := upper[2*i] + upper[2*i+1] + lower[2*i] + lower[2*i+1]
		if a != 0 {
			u, v := int32(us[i]), int32(vs[i])
			us[i] = byte(u + ((paint.u-u)*a+512)>>10)
			vs[i] = byte(v + ((paint.v-v)*a+512)>>10)
		}
	}
}
