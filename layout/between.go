package layout

// Between returns the rectangle on the way from a to b, where t runs from 0 (a) to
// 1 (b); outside that range, and for NaN, it is the nearer end (a for NaN). It
// starts and stops gently: the path is the cubic 3t²-2t³, whose speed is 0 at
// both ends and 1.5 times the mean in the middle. All four numbers are even.
func Between(a, b Rect, t float64) Rect {
	if !(t > 0) {
		return a
	}
	if t >= 1 {
		return b
	}
	s := t * t * (3 - 2*t)
	mid := func(p, q int) int { return nearEven(float64(p) + s*float64(q-p)) }
	// Edges move, not sizes: neighbours that share an edge keep sharing it.
	r := Rect{X: mid(a.X, b.X), Y: mid(a.Y, b.Y)}
	r.W = mid(a.Right(), b.Right()) - r.X
	r.H = mid(a.Bottom(), b.Bottom()) - r.Y
	return r
}
