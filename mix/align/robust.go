package align

import (
	"math"
	"ripieno/mix/robust"
	"slices"
)

// line is y = at + slope·x with the scatter of what it was fitted to.
type line struct {
	at, slope       float64
	sigma           float64 // robust standard deviation of the residuals
	atErr, slopeErr float64 // standard errors of at (at x = mean) and slope
	mean            float64 // weighted mean of x
	n               int     // points within three sigma
}

// value returns the line at x.
func (l line) value(x float64) float64 { return l.at + l.slope*x }

// fitLine fits a line to points of which many may be wrong: a Theil-Sen start
// (median of the slopes between pairs), then Tukey's biweight by iterated
// least squares (P. J. Huber and E. M. Ronchetti, "Robust Statistics", 2nd
// ed., 2009). floor is the least scatter to assume. With fewer than two
// distinct x the slope is 0.
func fitLine(x, y, w []float64, floor float64) line {
	if len(x) == 0 {
		return line{at: math.NaN(), sigma: math.Inf(1), slopeErr: math.Inf(1), atErr: math.Inf(1)}
	}
	l := theilSen(x, y)
	res := make([]float64, len(x))
	for range 12 {
		for i := range x {
			res[i] = math.Abs(y[i] - l.value(x[i]))
		}
		l.sigma = math.Max(floor, robust.Spread(slices.Clone(res)))
		l = weighted(x, y, w, res, l)
	}
	return l
}

// theilSen returns the line whose slope is the median over pairs of points, through the
// median of what is left (P. K. Sen, J. Am. Stat. Assoc. 63, 1968), over some pairs that
// lie far apart instead of all. Its errors are not filled in.
func theilSen(x, y []float64) line {
	// Pairs half the series apart: linear cost and the best leverage.
	n := len(x)
	order := make([]int, n)
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int {
		switch {
		case x[a] < x[b]:
			return -1
		case x[a] > x[b]:
			return 1
		}
		return a - b
	})
	var slopes []float64
	for _, part := range []int{2, 3, 4} {
		gap := max(1, n/part)
		for i := 0; i+gap < n; i++ {
			a, b := order[i], order[i+gap]
			if dx := x[b] - x[a]; dx > 1e-9 {
				slopes = append(slopes, (y[b]-y[a])/dx)
			}
		}
	}
	var l line
	if len(slopes) > 0 {
		l.slope = robust.Median(slopes)
	}
	rest := make([]float64, n)
	for i := range x {
		rest[i] = y[i] - l.slope*x[i]
	}
	l.at = robust.Median(rest)
	return l
}

// weighted returns l after one step of the biweight fit (Tukey, with 4.685 for 95 % efficiency
// on normal errors): points beyond that many scatters count nothing.
func weighted(x, y, w, res []float64, l line) line {
	var sw, sx, sy float64
	k := make([]float64, len(x))
	out := line{sigma: l.sigma, at: l.at, slope: l.slope}
	for i := range x {
		u := res[i] / (4.685 * l.sigma)
		if u >= 1 {
			continue
		}
		k[i] = (1 - u*u) * (1 - u*u)
		if w != nil {
			k[i] *= w[i]
		}
		if res[i] < 3*l.sigma {
			out.n++
		}
		sw += k[i]
		sx += k[i] * x[i]
		sy += k[i] * y[i]
	}
	if sw <= 0 {
		out.slopeErr, out.atErr = math.Inf(1), math.Inf(1)
		return out
	}
	mx, my := sx/sw, sy/sw
	var sxx, sxy, k2xx, k2 float64
	for i := range x {
		dx := x[i] - mx
		sxx += k[i] * dx * dx
		sxy += k[i] * dx * (y[i] - my)
		k2xx += k[i] * k[i] * dx * dx
		k2 += k[i] * k[i]
	}
	out.mean = mx
	out.atErr = l.sigma * math.Sqrt(k2) / sw
	out.slope, out.slopeErr = 0, math.Inf(1)
	if sxx > 1e-12 {
		out.slope = sxy / sxx
		out.slopeErr = l.sigma * math.Sqrt(k2xx) / sxx
	}
	out.at = my - out.slope*mx
	return out
}
