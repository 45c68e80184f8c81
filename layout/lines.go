package layout

import (
	"math"
)

// Lines returns the canvas's shape at so many lines of its short side, or the
// canvas as it is when it has fewer. Both sides of a smaller one are even.
func (c Canvas) Lines(lines float64) Canvas {
	scale := lines / float64(min(c.W, c.H))
	if scale >= 1 {
		return c
	}
	even := func(n int) int { return 2 * int(math.Round(float64(n)*scale/2)) }
	return Canvas{W: even(c.W), H: even(c.H)}
}
