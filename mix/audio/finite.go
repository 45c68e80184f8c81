package audio

import "math"

// Finite returns x for encodings that have no infinities, such as JSON: nil for
// silence, which is −Inf decibels, and for NaN, which nobody knows.
func Finite(x float64) *float64 {
	if math.IsInf(x, 0) || math.IsNaN(x) {
		return nil
	}
	return &x
}
