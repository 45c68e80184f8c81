package layout

// Lines returns the canvas's shape at so many lines of its short side, or the
// canvas as it is when it has fewer. Both sides of a smaller one are even.
func (c Canvas) Lines(lines float64) Canvas {
	scale := lines / float64(min(c.W, c.H))
	if scale >= 1 {
		return c
	}
	return Canvas{W: NearEven(float64(c.W) * scale), H: NearEven(float64(c.H) * scale)}
}
