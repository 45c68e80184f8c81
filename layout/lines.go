package layout

// Lines returns the canvas's shape at so many lines of its short side, or the
// canvas as it is when it has fewer. Both sides of a smaller one are even.
func (c Canvas) Lines(lines float64) Canvas {
	scale := lines / float64(min(c.W, c.H))
	if scale >= 1 {
		return c
	}
	return Canvas{W: nearEven(float64(c.W) * scale), H: nearEven(float64(c.H) * scale)}
}

// Reference returns the canvas's shape at 1080 lines of its short side, or as it is
// where that would be too long.
func (c Canvas) Reference() Canvas {
	const lines = 1080
	scale := lines / float64(min(c.W, c.H))
	ref := Canvas{W: nearEven(float64(c.W) * scale), H: nearEven(float64(c.H) * scale)}
	if max(ref.W, ref.H) > MaxCanvas {
		return c
	}
	return ref
}

// NearEven returns the even number nearest to v; a tie goes up.
func NearEven(v float64) int { return nearEven(v) }

// CeilEven returns the smallest even number not below n, for n >= 0.
func CeilEven(n int) int { return ceilEven(n) }

// FloorEven returns the largest even number not above n, for n >= 0.
func FloorEven(n int) int { return floorEven(n) }
