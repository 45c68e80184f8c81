package align

import (
	"math"
	"slices"

	"ripieno/mix/robust"
)

// Where a voice or a soft bow hardly rises over the room, no single stretch tells how two
// devices lie against each other, but all of them say a little. Their correlations are
// added up along every line that two clocks could draw.
const (
	poolReach = 0.1    // seconds about the coarse lag that are looked at
	poolCount = 64     // stretches
	poolLeast = 8      // of them there must be
	poolSlope = 600e-6 // the most by which the clocks may differ from the guess
	poolStep  = 1e-4   // by how much two lines beside each other differ at the ends, seconds
	poolDoubt = 6      // scatters of the sum up to which its peak says nothing, see pool
	poolHeard = 2      // scatters of a stretch's own correlation from which it agrees
)

// pool refines a coarse lag by the correlations of all stretches together. For 14 pairs of
// sampled files that do not hold the same sound the sum reached 6.2 scatters at most; 9 are
// sure.
func pool(a, b *device, c guess) Match {
	best := Match{DriftErrPPM: math.Inf(1)}
	l := line{at: c.seconds, slope: c.ppm * 1e-6}
	for size, n := windowSize(a, b), 0; n < 2; size, n = size/2, n+1 {
		if m := collect(a, b, l, size).match(l); m.Confidence > best.Confidence {
			best = m
		}
	}
	best.level(a, b)
	return best
}

// bundle is the correlations of stretches, each in its own scatters.
type bundle struct {
	at    []float64   // seconds of b, the middle of each
	cor   [][]float64 // from -reach to reach
	reach int         // samples
	rate  float64
}

// collect correlates the stretches of a and b that tell most.
func collect(a, b *device, l line, size int) bundle {
	p := newPHAT(size, a.work)
	s := bundle{reach: min(int(poolReach*a.work), size/2-2), rate: a.work}
	eachWindow(a, b, l, size, poolCount, func(at float64, wa, wb []float32, na, nb func(float64) float64) {
		if _, peak := p.delay(wa, wb, na, nb, a.work, s.reach); peak > 0 {
			s.at, s.cor = append(s.at, at), append(s.cor, p.around(s.reach))
		}
	})
	return s
}

// match returns where the correlations add up most, as a correction of l.
func (s bundle) match(l line) Match {
	best := Match{DriftErrPPM: math.Inf(1), Windows: len(s.at)}
	if len(s.at) < poolLeast {
		return best
	}
	middle := robust.Median(slices.Clone(s.at))
	span := math.Max(slices.Max(s.at)-middle, middle-slices.Min(s.at))
	// Seconds: over less, no slope that a clock can have moves a peak by a step.
	if span < 4 {
		return best
	}
	sum := make([]float64, 2*s.reach+1)
	var top, slope, lag float64
	for k := -int(poolSlope * span / poolStep); float64(k) <= poolSlope*span/poolStep; k++ {
		try := float64(k) * poolStep / span
		clear(sum)
		for i, c := range s.cor {
			addEarlier(sum, c, s.shift(i, middle, try))
		}
		for j, v := range sum {
			if v = math.Abs(v); v > top {
				top, slope, lag = v, try, float64(j-s.reach)
				if j > 0 && j < len(sum)-1 {
					lag += parabola(math.Abs(sum[j-1]), v, math.Abs(sum[j+1]))
				}
			}
		}
	}
	for i, c := range s.cor {
		k := int(math.Round(lag)) + s.reach + s.shift(i, middle, slope)
		// Two samples either way, for the rounding of the lag and of the slope.
		near := c[max(0, min(len(c), k-2)):max(0, min(len(c), k+3))]
		if slices.ContainsFunc(near, func(v float64) bool { return math.Abs(v) >= poolHeard }) {
			best.Agree++
		}
	}
	best.OffsetSeconds = l.at - lag/s.rate + middle*slope
	best.DriftPPM = (l.slope - slope) * 1e6
	best.DriftErrPPM, best.Spread = 1e6*poolStep/span, poolStep
	clear := top / math.Sqrt(float64(len(s.cor)))
	best.Confidence = 1 - math.Exp(-math.Max(0, clear-poolDoubt))
	return best
}

// shift returns by how many samples stretch i is later than the middle one on a line.
func (s bundle) shift(i int, middle, slope float64) int {
	return int(math.Round((s.at[i] - middle) * slope * s.rate))
}

// around returns the last correlation from -reach to reach, in its own scatters.
func (p *phat) around(reach int) []float64 {
	out := make([]float64, 2*reach+1)
	var square float64
	for i := range out {
		out[i] = p.cor[(i-reach+len(p.cor))%len(p.cor)]
		square += out[i] * out[i]
	}
	scale := 1 / (math.Sqrt(square/float64(len(out))) + 1e-12)
	for i := range out {
		out[i] *= scale
	}
	return out
}

// addEarlier adds c to sum, by entries earlier.
func addEarlier(sum, c []float64, by int) {
	for i := max(0, by); i < min(len(c), len(c)+by); i++ {
		sum[i-by] += c[i]
	}
}
