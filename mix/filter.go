package mix

import (
	"fmt"
	"math"
	"slices"

	"ripieno/mix/audio"
)

// Shape is the kind of an equaliser band.
type Shape int

// The bands a strip can have.
const (
	LowCut    Shape = iota // second-order high-pass at Hz
	LowShelf               // Gain below Hz
	Bell                   // Gain around Hz, as wide as Q says
	HighShelf              // Gain above Hz
)

// shapes are the names of the shapes for settings and messages, in their order.
var shapes = []string{"low_cut", "low_shelf", "bell", "high_shelf"}

// ShapeNames returns the names of all shapes.
func ShapeNames() []string { return slices.Clone(shapes) }

// String returns the shape's name, such as low_cut.
func (s Shape) String() string {
	if s < LowCut || s > HighShelf {
		return "none"
	}
	return shapes[s]
}

// ParseShape returns the shape of a name; ok is false for a name that none has.
func ParseShape(name string) (s Shape, ok bool) {
	i := slices.Index(shapes, name)
	return Shape(max(0, i)), i >= 0
}

// Band is one band of a strip's equaliser.
type Band struct {
	Shape Shape
	Hz    float64        // corner or centre, above 0 and below half of [audio.Rate]
	Gain  audio.Decibels // of shelves and bells, −40 to 40
	Q     float64        // 0: 1/√2; higher is narrower
}

// check refuses settings out of range.
func (b Band) check() error {
	switch {
	case !(b.Hz > 0 && b.Hz < audio.Rate/2):
		return fmt.Errorf("equaliser at %v Hz: must lie between 0 and %d", b.Hz, audio.Rate/2)
	case !(b.Gain >= -40 && b.Gain <= 40):
		return fmt.Errorf("equaliser gain of %v dB: must lie between -40 and 40", float64(b.Gain))
	case !(b.Q >= 0 && b.Q <= 100):
		return fmt.Errorf("equaliser q of %v: must lie between 0 and 100", b.Q)
	case b.Shape < LowCut || b.Shape > HighShelf:
		return fmt.Errorf("equaliser shape %d does not exist", int(b.Shape))
	}
	return nil
}

// section is a second-order filter of one or two channels, in the transposed
// direct form II.
type section struct {
	b0, b1, b2, a1, a2 float64
	s1, s2             [2]float64
}

// newSection designs a band after R. Bristow-Johnson, "Cookbook formulae for
// audio equalizer biquad filter coefficients" (W3C note, 2021).
func newSection(b Band) *section {
	q := b.Q
	if q == 0 {
		q = math.Sqrt2 / 2
	}
	sin, cos := math.Sincos(2 * math.Pi * b.Hz / audio.Rate)
	alpha := sin / (2 * q)
	a := math.Pow(10, float64(b.Gain)/40)
	root := 2 * math.Sqrt(a) * alpha
	var b0, b1, b2, a0, a1, a2 float64
	switch b.Shape {
	case LowShelf:
		b0 = a * (a + 1 - (a-1)*cos + root)
		b1 = 2 * a * (a - 1 - (a+1)*cos)
		b2 = a * (a + 1 - (a-1)*cos - root)
		a0 = a + 1 + (a-1)*cos + root
		a1 = -2 * (a - 1 + (a+1)*cos)
		a2 = a + 1 + (a-1)*cos - root
	case HighShelf:
		b0 = a * (a + 1 + (a-1)*cos + root)
		b1 = -2 * a * (a - 1 + (a+1)*cos)
		b2 = a * (a + 1 + (a-1)*cos - root)
		a0 = a + 1 - (a-1)*cos + root
		a1 = 2 * (a - 1 - (a+1)*cos)
		a2 = a + 1 - (a-1)*cos - root
	case Bell:
		b0, b1, b2 = 1+alpha*a, -2*cos, 1-alpha*a
		a0, a1, a2 = 1+alpha/a, -2*cos, 1-alpha/a
	default:
		b0, b1, b2 = (1+cos)/2, -(1 + cos), (1+cos)/2
		a0, a1, a2 = 1+alpha, -2*cos, 1-alpha
	}
	return &section{b0: b0 / a0, b1: b1 / a0, b2: b2 / a0, a1: a1 / a0, a2: a2 / a0}
}

// cascade runs a block through sections, in place. Call it with blocks cut at
// places that do not depend on the reader: memories that died away are cleared
// at its end.
//
// Sections share a loop, two or four at a time: a recursion waits for its own
// last result, and while one waits another can work.
func cascade(sections []*section, b audio.Block) {
	for c, x := range b {
		rest := sections
		for len(rest) >= 4 && len(x) >= 8 {
			runFour((*[4]*section)(rest), c, x)
			rest = rest[4:]
		}
		for len(rest) >= 2 {
			runTwo(rest[0], rest[1], c, x)
			rest = rest[2:]
		}
		if len(rest) == 1 {
			runOne(rest[0], c, x)
		}
		for _, s := range sections {
			s.s1[c], s.s2[c] = settle(s.s1[c]), settle(s.s2[c])
		}
	}
}

// runOne runs a section over x. What the last result is waited for comes last
// in every sum. Products are not fused into sums, so that runFour gives the
// same bits everywhere.
func runOne(s *section, c int, x []float64) {
	s1, s2 := s.s1[c], s.s2[c]
	b0, b1, b2, a1, a2 := s.b0, s.b1, s.b2, s.a1, s.a2
	for i, v := range x {
		y := float64(b0*v) + s1
		s1 = float64(b1*v) + s2 - float64(a1*y)
		s2 = float64(b2*v) - float64(a2*y)
		x[i] = y
	}
	s.s1[c], s.s2[c] = s1, s2
}

// runTwo filters x by two sections in a row, in one pass over it.
func runTwo(s, t *section, c int, x []float64) {
	s1, s2, t1, t2 := s.s1[c], s.s2[c], t.s1[c], t.s2[c]
	b0, b1, b2, a1, a2 := s.b0, s.b1, s.b2, s.a1, s.a2
	d0, d1, d2, c1, c2 := t.b0, t.b1, t.b2, t.a1, t.a2
	for i, v := range x {
		y := float64(b0*v) + s1
		s1 = float64(b1*v) + s2 - float64(a1*y)
		s2 = float64(b2*v) - float64(a2*y)
		z := float64(d0*y) + t1
		t1 = float64(d1*y) + t2 - float64(c1*z)
		t2 = float64(d2*y) - float64(c2*z)
		x[i] = z
	}
	s.s1[c], s.s2[c] = s1, s2
	t.s1[c], t.s2[c] = t1, t2
}

// runFour runs four sections over x, of eight samples or more. Where there are
// vectors, every section works one sample behind the one before it: the first
// three samples bring the line into step, the last three let it run out.
func runFour(q *[4]*section, c int, x []float64) {
	if !vectors {
		runTwo(q[0], q[1], c, x)
		runTwo(q[2], q[3], c, x)
		return
	}
	runOne(q[0], c, x[:3])
	runOne(q[1], c, x[:2])
	runOne(q[2], c, x[:1])
	var l line
	for k, s := range q {
		l.b0[k], l.b1[k], l.b2[k], l.a1[k], l.a2[k] = s.b0, s.b1, s.b2, s.a1, s.a2
		l.s1[k], l.s2[k] = s.s1[c], s.s2[c]
	}
	runLine(&l, x)
	for k, s := range q {
		s.s1[c], s.s2[c] = l.s1[k], l.s2[k]
	}
	n := len(x)
	runOne(q[1], c, x[n-1:])
	runOne(q[2], c, x[n-2:])
	runOne(q[3], c, x[n-3:])
}

// line is four sections side by side.
type line struct{ b0, b1, b2, a1, a2, s1, s2 [4]float64 }

// settle returns v, or zero when v is so small that only denormal numbers, which
// are slow, would follow.
func settle(v float64) float64 {
	if v > -1e-30 && v < 1e-30 {
		return 0
	}
	return v
}
