// Package layout computes where things stand on a canvas. It is pure
// geometry: whole pixels, the origin at the top left, x to the right, y down.
//
// Everything that ends up on a canvas has even position and size, because
// 4:2:0 video stores one colour sample for two by two pixels.
package layout

import "fmt"

// Canvas is the size of the output frame in pixels; both even.
type Canvas struct{ W, H int }

// String returns the size as "1920x1080".
func (c Canvas) String() string { return fmt.Sprintf("%dx%d", c.W, c.H) }

// Rect is a rectangle on a canvas in pixels.
type Rect struct{ X, Y, W, H int }

// Right returns the first column outside r.
func (r Rect) Right() int { return r.X + r.W }

// Bottom returns the first row outside r.
func (r Rect) Bottom() int { return r.Y + r.H }

// Overlaps reports whether r and s share a pixel.
func (r Rect) Overlaps(s Rect) bool {
	return r.X < s.Right() && s.X < r.Right() && r.Y < s.Bottom() && s.Y < r.Bottom()
}

// Inside reports whether r lies wholly on c.
func (r Rect) Inside(c Canvas) bool {
	return r.X >= 0 && r.Y >= 0 && r.W > 0 && r.H > 0 && r.Right() <= c.W && r.Bottom() <= c.H
}
