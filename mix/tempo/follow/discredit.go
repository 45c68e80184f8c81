package follow

import (
	"math"
	"slices"
)

// Off the beat there is often more to hear than on it. Where a person has put a beat
// elsewhere than where the train without anchors has one, that train is wrong for a while,
// and what it went by would mislead another one too. How long it is wrong nobody says: a
// train that leaves it for a few beats and one that leaves it for good are both tried, and
// the one that goes more evenly is taken.
const (
	// offBeat is how far beside its anchor that train is wrong, as a share of its period.
	offBeat = 0.15
	// discredited is the share that is taken from a pulse of a train that is wrong.
	discredited = 0.85
	// briefly is for how many pulses beside an anchor it is wrong at least.
	briefly = 4
	// onPurpose is the logarithm by which people change a period from one beat to the next,
	// and jerk what more than that costs, squared.
	onPurpose, jerk = 0.07, 600.0
	// beside is how many frames on both sides of its pulses are meant.
	beside = 5
	// heard is how much onsets count when two trains are compared: little, since those off
	// the beat are the louder ones.
	heard = 0.1
)

// doubts returns the tracker with other gains: lower at the pulses of the train that was
// found without anchors where anchors say that it is wrong, briefly or for long.
func (t *tracker) doubts(known []Anchor, train []int) (brief, long *tracker) {
	wrong := make([]float64, len(known))
	for i, a := range known {
		if isOff(train, a.At*perSecond) {
			wrong[i] = 1
		}
	}
	brief = &tracker{t.onsets, slices.Clone(t.gain)}
	long = &tracker{t.onsets, slices.Clone(t.gain)}
	for j, k := range train {
		at := float64(k) / perSecond
		i := len(known) - 1
		for i > 0 && known[i].At > at {
			i--
		}
		share, near := wrong[i], 0.0
		last := pulsesTo(train, j, known[i].At)
		if last < briefly {
			near = wrong[i]
		}
		if i+1 < len(known) && at > known[i].At {
			into := (at - known[i].At) / (known[i+1].At - known[i].At)
			share += into * (wrong[i+1] - wrong[i])
			if pulsesTo(train, j, known[i+1].At) < briefly {
				near = max(near, wrong[i+1])
			}
			if wrong[i]+wrong[i+1] == 2 {
				near = 1
			}
		}
		brief.lower(k, near)
		long.lower(k, share)
	}
	return brief, long
}

// pulsesTo returns how many pulses of a train lie between pulse j and a time.
func pulsesTo(train []int, j int, at float64) int {
	k, _ := slices.BinarySearch(train, frame(at))
	if k > j {
		return k - j - 1
	}
	return j - k
}

// lower takes some of the gain round a frame.
func (t *tracker) lower(k int, share float64) {
	for f := max(0, k-beside); f <= min(k+beside, len(t.gain)-1); f++ {
		if t.gain[f] < given/2 {
			t.gain[f] = (t.gain[f]+empty)*(1-discredited*share) - empty
		}
	}
}

// isOff reports whether a train has no pulse near a frame.
func isOff(train []int, at float64) bool {
	for i, k := range train {
		period := float64(least)
		if i > 0 {
			period = float64(k - train[i-1])
		}
		if math.Abs(float64(k)-at) <= offBeat*period {
			return false
		}
	}
	return true
}

// better returns the train that goes more evenly; the first of two that go alike.
func (t *tracker) better(a, b []int) []int {
	if t.smooth(b) > t.smooth(a) {
		return b
	}
	return a
}

// smooth returns how evenly a train goes: it loses where its period changes more from one
// pulse to the next than people change it on purpose, and gains a little from onsets.
func (t *tracker) smooth(train []int) float64 {
	sum := 0.0
	for i := 2; i < len(train); i++ {
		l := math.Abs(math.Log(float64(train[i]-train[i-1]) / float64(train[i-1]-train[i-2])))
		over := max(0, l-onPurpose)
		sum -= jerk * over * over
		if train[i] < len(t.gain) {
			sum += heard * min(t.gain[train[i]], given/2)
		}
	}
	return sum
}
