package follow

import "math"

// How a pulse's time is made exact.
const (
	// reach is how far from its frame its onset may be, in seconds.
	onsetReach = 0.035
	// weakOnset is the strength under which nothing begins at a pulse.
	weakOnset = 0.8
	// evenness is how much a change of period from one pulse to the next counts beside the
	// distance from the onset: half, since single players are as far off the beat as
	// rubato changes it (common practice, no source).
	evenness = 0.5
	// sudden is the change of period, as a share of it, from which on it is meant.
	sudden = 0.2
)

// pulses makes the pulses of a train of frames: each at its onset, evened out a little.
// Anchors are exactly where they are.
func (t *tracker) pulses(path []int, fixed []Anchor) []Pulse {
	list := make([]Pulse, len(path))
	at, weight := make([]float64, len(path)), make([]float64, len(path))
	for i, k := range path {
		near := float64(k) / perSecond
		onset, strength := t.onsets.peak(near, onsetReach)
		if strength < weakOnset {
			onset, strength = near, 0.1
		}
		at[i], weight[i] = onset, min(strength, 1.5)
		list[i].Weak = strength < weakOnset
	}
	anchored := make([]bool, len(path))
	for _, a := range fixed {
		i := a.Index
		if i == Uncounted {
			i = nearest(at, a.At)
		}
		if i >= 0 && i < len(at) {
			at[i], weight[i], anchored[i] = a.At, 1e6, true
		}
	}
	for i, x := range even(at, weight) {
		list[i].At = x
		if anchored[i] {
			list[i] = Pulse{At: at[i], Anchor: true}
		}
	}
	return list
}

// nearest returns the index of the time nearest to x, −1 for none within the shortest
// period.
func nearest(at []float64, x float64) int {
	best := -1
	for i, v := range at {
		if d := math.Abs(v - x); d < shortest && (best < 0 || d < math.Abs(at[best]-x)) {
			best = i
		}
	}
	return best
}

// even returns the times x that make Σ w(x−at)² + evenness·Σ(x₋₁−2x+x₊₁)² smallest, where
// no change of period is sudden. The equations have five diagonals and are solved by
// elimination.
func even(at, w []float64) []float64 {
	n := len(at)
	main, one, two, x := make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range n {
		main[i], x[i] = w[i], w[i]*at[i]
	}
	for i := 1; i+1 < n; i++ {
		if d := at[i-1] - 2*at[i] + at[i+1]; math.Abs(d) > sudden*(at[i+1]-at[i-1])/2 {
			continue
		}
		main[i-1], main[i], main[i+1] = main[i-1]+evenness, main[i]+4*evenness, main[i+1]+evenness
		one[i-1], one[i] = one[i-1]-2*evenness, one[i]-2*evenness
		two[i-1] += evenness
	}
	for i := range n { // symmetric: below the diagonal is what is above it
		for d := 1; d <= 2 && i+d < n; d++ {
			below := one[i]
			if d == 2 {
				below = two[i]
			}
			f := below / main[i]
			main[i+d] -= f * below
			x[i+d] -= f * x[i]
			if d == 1 && i+2 < n {
				one[i+1] -= f * two[i]
			}
		}
	}
	for i := n - 1; i >= 0; i-- {
		if i+1 < n {
			x[i] -= one[i] * x[i+1]
		}
		if i+2 < n {
			x[i] -= two[i] * x[i+2]
		}
		x[i] /= main[i]
	}
	return x
}
