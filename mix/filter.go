package mix

import (
	"fmt"
	"math"

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

// Band is one band of a strip's equaliser.
type Band struct {
	Shape Shape
	Hz    float64        // corner or centre, above 0 and below half of [audio.Rate]
	Gain  audio.Decibels // of shelves and bells, −40 to 40
	Q     float64        // 0: 1/√2; higher is narrower
}

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
// Two sections at a time share a loop: a recursion waits for its own last
// result, and while one waits the other can work.
func cascade(sections []*section, b audio.Block) {
	for c, x := range b {
		rest := sections
		for len(rest) >= 2 {
			runTwo(rest[0], rest[1], c, x)
			rest = rest[2:]
		}
		if len(rest) == 1 {
			runOne(rest[0], c, x)
		}
	}
}

func runOne(s *section, c int, x []float64) {
	s1, s2 := s.s1[c], s.s2[c]
	b0, b1, b2, a1, a2 := s.b0, s.b1, s.b2, s.a1, s.a2
	for i, v := range x {
		y := b0*v + s1
		s1 = b1*v - a1*y + s2
		s2 = b2*v - a2*y
		x[i] = y
	}
	s.s1[c], s.s2[c] = settle(s1), settle(s2)
}

func runTwo(s, t *section, c int, x []float64) {
	s1, s2, t1, t2 := s.s1[c], s.s2[c], t.s1[c], t.s2[c]
	b0, b1, b2, a1, a2 := s.b0, s.b1, s.b2, s.a1, s.a2
	d0, d1, d2, c1, c2 := t.b0, t.b1, t.b2, t.a1, t.a2
	for i, v := range x {
		y := b0*v + s1
		s1 = b1*v - a1*y + s2
		s2 = b2*v - a2*y
		z := d0*y + t1
		t1 = d1*y - c1*z + t2
		t2 = d2*y - c2*z
		x[i] = z
	}
	s.s1[c], s.s2[c] = settle(s1), settle(s2)
	t.s1[c], t.s2[c] = settle(t1), settle(t2)
}

// settle is v, or zero when v is so small that only denormal numbers, which
// are slow, would follow.
func settle(v float64) float64 {
	if v > -1e-30 && v < 1e-30 {
		return 0
	}
	return v
}
