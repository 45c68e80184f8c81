// Package shot turns a shot list into who is where on the canvas and when, in
// whole output frames.
//
// It knows nothing of files, measures or seconds beyond a frame rate: the
// caller has already turned musical positions into frames.
package shot

import (
	"fmt"
	"math"
)

// Rate is a frame rate as an exact fraction, frames per second Num/Den.
type Rate struct{ Num, Den int }

// FPS returns the rate as a number, frames per second.
func (r Rate) FPS() float64 { return float64(r.Num) / float64(r.Den) }

// Frame returns the frame whose time is nearest to seconds; a tie goes away from
// zero. Negative times give negative frames.
func (r Rate) Frame(seconds float64) int {
	return int(math.Round(seconds * float64(r.Num) / float64(r.Den)))
}

// Seconds returns the time at which frame n begins.
func (r Rate) Seconds(n int) float64 {
	return float64(n) * float64(r.Den) / float64(r.Num)
}

// String returns the rate as "30" or "30000/1001".
func (r Rate) String() string {
	if r.Den == 1 {
		return fmt.Sprint(r.Num)
	}
	return fmt.Sprintf("%d/%d", r.Num, r.Den)
}
