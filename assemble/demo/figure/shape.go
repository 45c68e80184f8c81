package figure

import "math"

// shape is one or more closed outlines, filled together. All shapes made here
// turn the same way, but for the holes.
type shape [][]point

// plus returns both shapes as one.
func (s shape) plus(t shape) shape { return append(s[:len(s):len(s)], t...) }

// polygon returns the outline as it is given.
func polygon(points ...point) shape { return shape{oriented(points)} }

// oriented makes an outline turn like all others.
func oriented(points []point) []point {
	area := 0.0
	last := points[len(points)-1]
	for _, p := range points {
		area += last.x*p.y - p.x*last.y
		last = p
	}
	if area >= 0 {
		return points
	}
	out := make([]point, len(points))
	for i, p := range points {
		out[len(points)-1-i] = p
	}
	return out
}

// rectangle returns one with its corners at (x0, y0) and (x1, y1).
func rectangle(x0, y0, x1, y1 float64) shape {
	return polygon(point{x0, y0}, point{x1, y0}, point{x1, y1}, point{x0, y1})
}

// corners is the number of corners of a circle; 28 are round enough up to a
// radius of 100 pixels (0.6 pixels off at most).
const corners = 28

// unit is a circle of radius 1.
var unit = func() (u [corners]point) {
	for i := range u {
		s, c := math.Sincos(2 * math.Pi * float64(i) / corners)
		u[i] = point{c, s}
	}
	return u
}()

// ellipse returns centred at p with half axes rx and ry, turned by degrees.
func ellipse(p point, rx, ry, degrees float64) shape {
	m := place(p, degrees, 1)
	points := make([]point, corners)
	for i, q := range unit {
		points[i] = m.apply(point{q.x * rx, q.y * ry})
	}
	return shape{points}
}

// circle returns a circle of radius r round p.
func circle(p point, r float64) shape { return ellipse(p, r, r, 0) }

// ring returns a circle of radius r drawn with a pen of the given width.
func ring(p point, r, width float64) shape {
	outer, inner := circle(p, r+width/2), circle(p, max(r-width/2, 0))
	hole := inner[0]
	for i, j := 0, len(hole)-1; i < j; i, j = i+1, j-1 {
		hole[i], hole[j] = hole[j], hole[i]
	}
	return shape{outer[0], hole}
}

// limb returns a rounded bar from p to q, of radius rp at p and rq at q.
func limb(p, q point, rp, rq float64) shape {
	const half = 8 // corners of each round end
	base := math.Atan2(q.y-p.y, q.x-p.x)
	points := make([]point, 0, 2*half+2)
	for i := range half + 1 {
		s, c := math.Sincos(base - math.Pi/2 + math.Pi*float64(i)/half)
		points = append(points, point{q.x + rq*c, q.y + rq*s})
	}
	for i := range half + 1 {
		s, c := math.Sincos(base + math.Pi/2 + math.Pi*float64(i)/half)
		points = append(points, point{p.x + rp*c, p.y + rp*s})
	}
	return shape{points}
}

// line returns a pen stroke of the given width through the points.
func line(width float64, points ...point) shape {
	var s shape
	for i := range len(points) - 1 {
		s = append(s, limb(points[i], points[i+1], width/2, width/2)...)
	}
	return s
}

// blob returns the smooth closed outline through the points (a closed
// Catmull-Rom spline, six lines from point to point).
func blob(points ...point) shape {
	const steps = 6
	n := len(points)
	out := make([]point, 0, n*steps)
	for i := range points {
		a, b, c, d := points[(i+n-1)%n], points[i], points[(i+1)%n], points[(i+2)%n]
		for k := range steps {
			out = append(out, spline(a, b, c, d, float64(k)/steps))
		}
	}
	return shape{oriented(out)}
}

// spline returns a point that goes from b at 0 to c at 1, with a before and d behind.
func spline(a, b, c, d point, t float64) point {
	curve := func(a, b, c, d float64) float64 {
		return b + t/2*(c-a+t*(2*a-5*b+4*c-d+t*(3*(b-c)+d-a)))
	}
	return point{curve(a.x, b.x, c.x, d.x), curve(a.y, b.y, c.y, d.y)}
}

// bend returns the open curve through the points as a pen stroke.
func bend(width float64, points ...point) shape {
	const steps = 6
	var path []point
	n := len(points)
	for i := range n - 1 {
		a, d := points[max(i-1, 0)], points[min(i+2, n-1)]
		for k := range steps {
			path = append(path, spline(a, points[i], points[i+1], d, float64(k)/steps))
		}
	}
	return line(width, append(path, points[n-1])...)
}

// mirror returns the shape seen in a mirror at x = 0.
func (s shape) mirror() shape {
	out := make(shape, len(s))
	for i, outline := range s {
		flipped := make([]point, len(outline))
		for j, p := range outline {
			flipped[len(outline)-1-j] = point{-p.x, p.y}
		}
		out[i] = flipped
	}
	return out
}
