// Package pan places a sound between two loudspeakers: gains for a mono take,
// a matrix for a stereo take, and places for a row of players.
//
// Positions run from −1 (left) over 0 (centre) to +1 (right); what lies
// beyond counts as the end, NaN as the centre. Gains are linear factors. The
// package does not touch samples and knows no delays: a position is level
// only.
package pan

import (
	"math"
	"slices"
)

// Law is how the level of a mono sound follows its position.
type Law int

// The laws differ in the centre: how loud a sound is there on each side,
// against hard left or right.
const (
	// ConstantPower is −3.01 dB in the centre: the sum of the squares is 1
	// everywhere, so a sound keeps its loudness in a room. The default.
	ConstantPower Law = iota
	// Compromise is −4.52 dB in the centre, the geometric mean of the other
	// two: between what a room and what a mono sum wants.
	Compromise
	// Linear is −6.02 dB in the centre: the sum is 1 everywhere, so a sound
	// keeps its level when left and right are added.
	Linear
)

// laws are the names of the laws for settings and messages.
var laws = map[Law]string{ConstantPower: "power", Compromise: "compromise", Linear: "linear"}

// String returns the law's name: power, compromise or linear.
func (l Law) String() string { return laws[l] }

// LawNames returns the names of all laws, the default first.
func LawNames() []string {
	var names []string
	for l := ConstantPower; l <= Linear; l++ {
		names = append(names, l.String())
	}
	return names
}

// ParseLaw returns the law of a name. ok is false for a name that none has; the
// law is then the default.
func ParseLaw(name string) (l Law, ok bool) {
	i := slices.Index(LawNames(), name)
	return Law(max(0, i)), i >= 0
}

// Gains returns the factors for left and right of a mono sound at position. A law
// that is none of the constants acts as [ConstantPower].
func (l Law) Gains(position float64) (left, right float64) {
	p := Clamp(position)
	switch p {
	case -1:
		return 1, 0 // exactly: cos(π/2) is 6e-17 in floating point
	case 1:
		return 0, 1
	}
	right, left = math.Sincos((p + 1) * math.Pi / 4)
	switch l {
	case Compromise:
		return math.Sqrt(left * (1 - p) / 2), math.Sqrt(right * (1 + p) / 2)
	case Linear:
		return (1 - p) / 2, (1 + p) / 2
	}
	return left, right
}

// Matrix maps a stereo take to the stereo bus: Matrix[out][in].
type Matrix [2][2]float64

// Stereo treats a stereo take as two points, its left and its right, and sets
// them around position as far apart as width says: 1 as recorded, 0 on one
// point, and only as far as the ends leave room. At the centre with width 1 the
// take passes unchanged. A width above 1 widens: it adds to the difference of
// the sides and takes from their sum. Negative widths swap the sides.
func (l Law) Stereo(position, width float64) Matrix {
	p := Clamp(position)
	if math.IsNaN(width) {
		width = 1
	}
	spread := math.Max(-1, math.Min(1, width)) * (1 - math.Abs(p))
	var m Matrix
	m[0][0], m[1][0] = l.Gains(p - spread)
	m[0][1], m[1][1] = l.Gains(p + spread)
	if wide := math.Min(math.Abs(width), 2); wide > 1 {
		m = m.times(widen(wide))
	}
	return m
}

// widen scales the difference of the sides by w and their sum so that the
// power of two unrelated sides stays the same: s² + w² over 2 is 1.
func widen(w float64) Matrix {
	s := math.Sqrt(2 / (1 + w*w))
	a, b := s*(1+w)/2, s*(1-w)/2
	return Matrix{{a, b}, {b, a}}
}

// times returns the product of m and n: n is applied first.
func (m Matrix) times(n Matrix) Matrix {
	var r Matrix
	for i := range 2 {
		for j := range 2 {
			r[i][j] = m[i][0]*n[0][j] + m[i][1]*n[1][j]
		}
	}
	return r
}

// Spread places n players evenly from −edge to +edge, in order from the left.
// One player stands in the centre. It is empty for n < 1.
func Spread(n int, edge float64) []float64 { return Between(n, -Clamp(edge), Clamp(edge)) }

// Between places n players evenly from one place to another, in this order, as
// a section sits on a stage. One player stands in the middle. It is empty for
// n < 1.
func Between(n int, from, to float64) []float64 {
	if n < 1 {
		return nil
	}
	from, to = Clamp(from), Clamp(to)
	places := make([]float64, n)
	for i := range places {
		share := 0.5
		if n > 1 {
			share = float64(i) / float64(n-1)
		}
		places[i] = from*(1-share) + to*share
	}
	return places
}

// Clamp returns position within −1..1; NaN is 0.
func Clamp(position float64) float64 {
	if math.IsNaN(position) {
		return 0
	}
	return math.Max(-1, math.Min(1, position))
}
