package layout

import "math"

// Shapes is a range of shapes a tile may have, as widths over heights. The
// zero value is no range: tiles have the one aspect of the options.
type Shapes struct{ Least, Most float64 }

// AnyShape is the range nobody asked for another of: from 4:5, in which one
// person sits well, to 16:9, which cuts nothing off most pictures.
var AnyShape = Shapes{4. / 5, 16. / 9}

// MaxUneven is how many times larger the largest tile of [Fill] may be than the
// smallest, in area.
const MaxUneven = 1.6

// LeastShown is the share of a picture that a tile must show of it. A tile of
// another shape shows so much and has the picture's own blurred ground beside it.
const LeastShown = 0.5

// unseen is how many times further out than its range a tile's shape may be before
// it costs anything: rounding to whole pixels does that.
const unseen = 1.02

// equalCost is the share of the canvas, covered by tiles or by pictures, that
// tiles of one size may cost.
const equalCost = 0.05

// Promised returns the share of a canvas that [Fill] covers with n tiles when gutters
// and margin are those of [Canvas.AutoGutter] and short rows stretch.
func Promised(n int) float64 {
	switch {
	case n <= 12:
		return 0.92
	case n <= 60:
		return 0.90
	}
	return 0.86
}

// AutoGutter returns the gutter for n tiles: px at 1080 lines as long as that is
// little beside a tile, and less for many small ones, so that gutters stay in
// one proportion to what they part.
func (c Canvas) AutoGutter(px float64, n int) int {
	const share = 0.028 // of the side of a square tile
	side := math.Sqrt(float64(c.W) * float64(c.H) / float64(max(n, 1)))
	return max(2, min(c.EvenScale(px), nearEven(share*side)))
}

// Worth returns what a tile of w by h does for a picture of an aspect: the area
// the picture takes up in it times the share of the picture that is seen. Up
// to half of the picture may be cut off; what the tile has beyond that shows
// no picture.
//
// Cutting across its shorter side costs as much again, for that is where
// heads are: it takes the top off a wide picture and an arm off a high one. A
// tile outside the range, unless it is the picture's own shape, costs by the
// cube of how far outside it is.
func (s Shapes) Worth(w, h, aspect float64) float64 {
	shape := w / h
	share := min(shape/aspect, aspect/shape)
	worth := w * h * share
	if (aspect >= 1) == (shape > aspect) {
		worth *= max(share, LeastShown)
	}
	out := min(1, unseen*shape/min(s.Least, aspect), unseen*max(s.Most, aspect)/shape)
	return worth * out * out * out
}
