package expand

import (
	"math"
	"slices"
)

// How a phone's level control is told. Where the playing stops it turns itself up, so that the noise
// behind a phrase begins below what it is where nobody plays and comes up to it: a room's noise does
// not dip for somebody who played. The figures were chosen on simulated takes; they have no source.
const (
	controlled = 2.5  // dB that the noise must come up
	dipWithin  = 0.2  // seconds behind a phrase in which it is softest
	leastPause = 0.25 // seconds: in a shorter pause it has hardly come up
	mostPause  = 2.0  // seconds that are looked at
	dipFrames  = 3    // that one level is the mean of
	backFrames = 6    // the same at the end of the pause
)

// turnedUp returns by how much the noise comes up where the playing stops, dB: the second most of all
// pauses, or that of the only one, since one may be chance. 0: no level control is seen.
func (t *trace) turnedUp(runs []run) float64 {
	var dips []float64
	for i, r := range runs {
		end := min(len(t.level), r.to+t.frames(mostPause))
		if i+1 < len(runs) {
			end = min(end, runs[i+1].from-1)
		}
		if d, ok := t.dip(r.to, end); ok {
			dips = append(dips, d)
		}
	}
	slices.Sort(dips)
	if n := len(dips); n > 0 && dips[max(n-2, 0)] >= controlled {
		return dips[max(n-2, 0)]
	}
	return 0
}

// dip returns by how much the noise comes up in the frames of a pause, as far as nothing else sounds
// there; it is not ok where the pause is too short to tell.
func (t *trace) dip(from, to int) (db float64, ok bool) {
	for f := from + 2; f < to; f++ {
		if t.excess[f] > surely {
			to = f - 1
		}
	}
	if to-from < max(t.frames(leastPause), dipFrames+backFrames) {
		return 0, false
	}
	least := math.Inf(1)
	for f := from + 1; f < from+t.frames(dipWithin); f++ {
		least = min(least, mean(t.level[f:f+dipFrames]))
	}
	back := min(mean(t.level[to-backFrames:to]), 10*math.Log10(math.Max(t.idle, 1e-12)))
	return back - least, true
}

// mean returns the mean of x, which is not empty.
func mean(x []float32) float64 {
	sum := 0.0
	for _, v := range x {
		sum += float64(v)
	}
	return sum / float64(len(x))
}
