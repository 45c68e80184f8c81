package expand

import (
	"math"

	"ripieno/mix/robust"
)

// What rings on: a bar or a string that was struck dies away by 30 dB in its first second, then by
// 9 dB a second, for longer than its half octave stands out of the noise. One line of it stands out
// for longer, and a line is told from noise that a phone turns up, which has none. The figures were
// chosen on simulated takes; they have no source.
const (
	ringTop   = 6000.0 // hertz: lines above it are not followed
	ringLines = 4      // lines that are kept of a frame
	ringing   = 10.0   // power of a line over the mean of those beside it: 10 dB
	apart     = 4      // lines to the nearest of those, since a tone spreads that far
	beside    = 6      // of those at either side
	overNoise = 2.5    // power of a line over its own noise before the piece: 4 dB
	ringFor   = 1.0    // seconds before a run ends: in half of its frames a line is seen
	// A line is still there as long as a quarter of the frames of half a second show it; noise alone
	// shows it in a hundredth.
	ringSpan  = 0.5
	ringShown = 0.25
	ringUnder = 10.0 // dB that it is followed where it is no longer seen
	stopFall  = 14.0 // dB
	stopTime  = 0.3  // seconds
	leastRing = 3.0  // dB a second: what falls by less is held, or hums
	mostRing  = 4.0  // seconds
	// In more noise what rings on is not followed: 50 dB under its stroke nobody hears it, and the noise
	// of two glockenspiels of fifty stood behind the last note for two seconds, 30 dB under all that
	// had been played.
	quietFor = 40.0 // dB under the loudest moment of a run
	farFrom  = 0.5  // seconds from its end to what begins behind it: the gain is down by 45 dB then
)

// ring is a line that stands out of those beside it in a frame; the zero value is none.
type ring struct {
	line  int32
	power float32 // of it and its neighbours
}

// ringsOf appends the strongest lines of a frame that stand out of those beside them.
func (t *trace) ringsOf(power []float64) {
	var best [ringLines]ring
	top := min(int(ringTop*2*float64(len(power))/t.rate), len(power)-apart-beside-1)
	// The sums of the lines below and above move on with the line.
	low, high := 0.0, 0.0
	first := apart + beside
	for j := range beside {
		low, high = low+power[first-apart-1-j], high+power[first+apart+1+j]
	}
	for k := first; k < top; k++ {
		p := power[k]
		if p > power[k-1] && p >= power[k+1] && p*2*beside > ringing*(low+high) {
			r := ring{int32(k), float32(power[k-1] + p + power[k+1])}
			for i := range best {
				if r.power > best[i].power {
					best[i], r = r, best[i]
				}
			}
		}
		low += power[k-apart] - power[k-apart-beside]
		high += power[k+apart+beside+1] - power[k+apart+1]
	}
	t.rings = append(t.rings, best[:]...)
}

// ringAt returns the power of a line in a frame where it stands out, or of one beside it; 0: it does not.
func (t *trace) ringAt(frame int, line int32) float64 {
	for _, r := range t.rings[frame*ringLines : (frame+1)*ringLines] {
		if d := r.line - line; r.power > 0 && d >= -1 && d <= 1 {
			noise := 0.0
			for _, p := range t.noise.Power[r.line-1 : r.line+2] {
				noise += p
			}
			if float64(r.power) > overNoise*noise {
				return float64(r.power)
			}
		}
	}
	return 0
}

// rung returns how long what rings at the end of a run goes on behind it, seconds: 0 where nothing does.
func (t *trace) rung(r run) float64 {
	span := t.frames(ringFor)
	if r.to-r.from < span || t.loudest(r)-10*math.Log10(math.Max(t.idle, 1e-12)) < quietFor {
		return 0
	}
	lines, longest := map[int32]int{}, 0.0
	for _, x := range t.rings[(r.to-span)*ringLines : r.to*ringLines] {
		if x.power > 0 {
			lines[x.line]++
		}
	}
	for line, n := range lines {
		if 2*n >= span {
			longest = max(longest, t.rungAt(r, line))
		}
	}
	return longest
}

// rungAt returns for how long a line goes on behind a run: as long as it is seen, and on from there by
// ringUnder, as it died away at the end. 0 where it is held, stops, or dies
// away as fast as a tail that is not followed by its lines.
func (t *trace) rungAt(r run, line int32) float64 {
	var at, level []float64
	span := t.frames(ringSpan)
	from, most := r.to-t.frames(ringFor), r.to+t.frames(mostRing)
	shown := make([]bool, 0, most-from)
	for f, n := from, 0; f < min(len(t.excess), most); f++ {
		p := t.ringAt(f, line)
		if shown = append(shown, p > 0); p > 0 {
			n++
		}
		if len(shown) > span && shown[len(shown)-1-span] {
			n--
		}
		switch {
		case p > 0 && float64(n) >= ringShown*float64(min(span, len(shown))):
			at, level = append(at, t.seconds(f)), append(level, 10*math.Log10(p))
		case f > r.to && n == 0:
			most = f
		}
	}
	half := len(at) / 2
	if half < 4 || at[len(at)-1] < t.seconds(r.to) || stops(at, level) {
		return 0
	}
	rate := fallOf(at[half:], level[half:])
	if first := fallOf(at[:half], level[:half]); first <= slowest {
		rate = max(rate, first) // near the noise the second half strays
	}
	if rate > slowest || fallOf(at, level) < leastRing {
		return 0
	}
	rate = max(rate, leastRing)
	return min(at[len(at)-1]-t.seconds(r.to)+ringUnder/rate, mostRing)
}

// stops reports whether a line falls by stopFall within stopTime somewhere: the end of a note that was held.
func stops(at, level []float64) bool {
	for i := range at {
		for j := i + 1; j < len(at) && at[j]-at[i] < stopTime; j++ {
			if level[i]-level[j] > stopFall {
				return true
			}
		}
	}
	return false
}

// fallOf returns by how much a line falls, dB a second: the median of the slopes between any two
// frames (P. K. Sen, "Estimates of the regression coefficient based on Kendall's tau", J. Am. Stat.
// Assoc. 63 (1968)).
func fallOf(at, level []float64) float64 {
	var slopes []float64
	for i := range at {
		for j := range i {
			slopes = append(slopes, (level[j]-level[i])/(at[i]-at[j]))
		}
	}
	return robust.Median(slopes)
}

// unlessTapped returns a length of a tail that does not reach into what begins behind the run, a tap
// on a telephone, but at least the length it has without.
func (t *trace) unlessTapped(r run, length, without float64) float64 {
	softer := false // than what the run itself leaves there
	for i := r.to + 1; i < min(len(t.excess), r.to+t.frames(length+farFrom)); i++ {
		softer = softer || t.excess[i] < maybe
		if softer && t.excess[i] > surely {
			return max(without, min(length, t.seconds(i)-t.seconds(r.to)-farFrom))
		}
	}
	return max(length, without)
}
