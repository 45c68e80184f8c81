package follow

import (
	"math"
	"slices"
	"sync"
)

// The tracker works in frames of 10 ms.
const (
	perSecond = 100
	least     = int(shortest * perSecond)
	most      = int(longest * perSecond)
	periods   = most - least + 1
)

// frame returns the frame nearest to a time.
func frame(seconds float64) int { return int(math.Round(seconds * perSecond)) }

// How the tracker weighs, in the units of an onset's strength.
const (
	// mostGain bounds what an onset brings, and mostBass what one of the bass brings besides:
	// chords off the beat are often loud, and the bass has the beat.
	mostGain, mostBass = 1.5, 2.5
	// changeCost is for the square of the logarithm by which a period differs from the one
	// before: 25 % within one beat costs as much as an ordinary onset brings.
	changeCost = 40.0
	// farCost is for the square of the logarithm by which it differs from that of the piece.
	farCost = 4.0
	// empty is what a pulse without an onset costs.
	empty = 1.0
	// given is what a pulse brings that a person has put there, more than any detour saves.
	given = 1000.0
)

// tracker finds trains of pulses.
type tracker struct {
	onsets *Onsets
	gain   []float64 // of a pulse in each frame
}

// newTracker prepares the gains: an onset counts for pulses within some 25 ms, since
// people who play together do not play at one instant.
func newTracker(o *Onsets, free []Anchor) *tracker {
	t := &tracker{onsets: o, gain: make([]float64, frame(o.seconds)+1)}
	const reach, sigma = 8, 3.0 // steps
	for k := range t.gain {
		middle := int(math.Round((float64(k)/perSecond - late) / step))
		best := 0.0
		for d := -reach; d <= reach; d++ {
			if i := middle + d; i >= 0 && i < len(o.strength) {
				near := math.Exp(-float64(d*d) / (2 * sigma * sigma))
				best = max(best, (min(o.strength[i], mostGain)+min(o.low[i], mostBass))*near)
			}
		}
		t.gain[k] = best - empty
	}
	for _, a := range free {
		if k := frame(a.At); k < len(t.gain) {
			t.gain[k] += given
		}
	}
	return t
}

// usualPeriod returns the period that onsets from a frame on repeat with, in seconds: the
// largest of their correlation with themselves, weighed towards 110 pulses a minute as
// Ellis does (there 120, and the weight 1.4 octaves wide).
func (t *tracker) usualPeriod(from int) float64 {
	best, period := math.Inf(-1), 0.55
	for p := least; p <= most; p++ {
		sum, n := 0.0, 0
		for k := from; k+p < len(t.gain); k++ {
			sum += max(0, t.gain[k]) * max(0, t.gain[k+p])
			n++
		}
		octaves := math.Log2(float64(p) / perSecond / 0.55)
		if score := sum / float64(max(n, 1)) * math.Exp(-0.5*octaves*octaves/(0.9*0.9)); score > best {
			best, period = score, float64(p)/perSecond
		}
	}
	return period
}

// onward returns the best train from a pulse on, with it, until nothing begins any more;
// period, in seconds, is about that of the piece.
func (t *tracker) onward(from int, period float64) []int {
	n := len(t.gain) - from
	if n <= 0 {
		return []int{from}
	}
	rows := make([][periods]float64, most+1) // scores of the last frames, in a ring
	came := make([]uint8, n*periods)         // the period before, from 1; 0: nothing was before
	far := farCosts(period * perSecond)      // every period may follow the first pulse: its row is 0
	best, at := 0.0, 0
	for k := 1; k < n; k++ {
		row := &rows[k%len(rows)]
		for p := range periods {
			row[p] = math.Inf(-1)
			before := k - (p + least)
			if before < 0 {
				continue
			}
			s, q := bestBefore(&rows[before%len(rows)], p)
			if math.IsInf(s, -1) {
				continue
			}
			s += t.gain[from+k] - far[p]
			row[p], came[k*periods+p] = s, uint8(q+1)
			if s > best {
				best, at = s, k*periods+p
			}
		}
	}
	return t.trace(from, at, came)
}

// farCosts returns what each period costs beside that of the piece, in frames.
func farCosts(usual float64) [periods]float64 {
	var far [periods]float64
	for p := range far {
		l := math.Log(float64(p+least) / usual)
		far[p] = farCost * l * l
	}
	return far
}

// bestBefore returns the best of a row of scores before a pulse of period p, change of
// period paid, and which period that has.
func bestBefore(row *[periods]float64, p int) (score float64, q int) {
	score = math.Inf(-1)
	a := &steps()[p]
	from := a.from
	for i, v := range row[from : from+len(a.cost)] {
		if s := v - a.cost[i]; s > score {
			score, q = s, from+i
		}
	}
	return score, q
}

// steps is what it costs to come to a period from others not too far away.
var steps = sync.OnceValue(func() *[periods]arrival {
	var all [periods]arrival
	const reach = 0.42 // of the logarithm: half as long again
	for p := range all {
		s := &all[p]
		s.from = periods
		for q := range periods {
			l := math.Log(float64(p+least) / float64(q+least))
			if math.Abs(l) > reach {
				continue
			}
			s.from = min(s.from, q)
			s.cost = append(s.cost, changeCost*l*l)
		}
	}
	return &all
})

// arrival is the first of the periods from which one comes, and what each of them costs.
type arrival struct {
	from int
	cost []float64
}

// trace follows a train back from its last pulse to its first, in frame from.
func (t *tracker) trace(from, at int, came []uint8) []int {
	var back []int
	for k, p := at/periods, at%periods; ; {
		back = append(back, from+k)
		q := came[k*periods+p]
		if q == 0 {
			break
		}
		k, p = k-(p+least), int(q)-1
	}
	slices.Reverse(back)
	return back
}
