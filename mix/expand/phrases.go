package expand

import (
	"math"
	"slices"

	"ripieno/mix/denoise"
)

// What is playing. The figures were chosen on simulated takes of sampled
// instruments in rooms; they have no source.
const (
	surely   = 5.0  // dB over the noise and its straying that a note has somewhere
	maybe    = 2.0  // dB that belong to it before and behind
	bridge   = 0.08 // seconds: shorter holes are none
	leadIn   = 0.15 // seconds before the piece that can lead into it: a breath, a bow that begins
	afterEnd = 0.3  // seconds behind the piece in which nothing of it begins
	anew     = 4.0  // dB of rise behind the piece that is something else
	shortest = 0.12 // seconds: what is shorter, soft and alone is a click or a knock
	softBy   = 12.0 // dB under the playing
	alone    = 0.25 // seconds to the next sound
	// Seconds by which a phrase opens before it is heard. With 0.01 a cello that began 20 ms
	// before it stood out of the noise came up by 1,400 dB a second inside of its first note.
	before    = 0.045
	rest      = 1.0  // seconds: shorter pauses belong to a phrase
	tailDepth = 55.0 // dB under its loudest moment: there a tail ends
	mostTail  = 1.5  // seconds
	leastTail = 0.1  // seconds
	masked    = 22.0 // dB that a tail sinks into the noise before nothing of it is heard
	nearNoise = 8.0  // dB over the noise: what lies there behind the piece and no longer falls is noise
	flat      = 1.5  // dB in flatFor
	flatFor   = 0.25 // seconds
	slowest   = 20.0 // dB a second that a tail dies away
)

// run is a stretch of frames that sounds.
type run struct{ from, to int }

// seconds returns where a frame begins, in seconds of the recording. Frame 0
// begins a hop before the first sample.
func (t *trace) seconds(frame int) float64 { return float64(frame-1) * denoise.Hop / t.rate }

// frames returns how many frames a time is.
func (t *trace) frames(seconds float64) int { return int(math.Round(seconds * t.rate / denoise.Hop)) }

// playing turns the trace into phrases.
func (t *trace) playing(p Piece, known bool) Playing {
	runs := t.inside(t.runs(), p)
	loud := t.playedAt(runs)
	runs = t.withoutKnocks(runs, loud)
	out := Playing{Distance: t.distance(runs), Lows: t.lowDistance(runs)}
	out.Lowest, out.Rumble, out.Below = t.lowest(runs)
	gap := math.Inf(1)
	if known {
		gap, out.TurnedUp = rest, t.turnedUp(runs)
	}
	for _, r := range runs {
		x := Phrase{t.seconds(r.from) - before, t.seconds(r.to) + t.tail(r)}
		if n := len(out.Phrases); n > 0 && x.From-out.Phrases[n-1].To < gap {
			out.Phrases[n-1].To = max(x.To, out.Phrases[n-1].To)
			continue
		}
		out.Phrases = append(out.Phrases, x)
	}
	return out
}

// runs returns what stands out of the noise: runs of what may, with something
// in them that surely does.
func (t *trace) runs() []run {
	var out []run
	hole, sure := t.frames(bridge), false
	open := run{from: -1}
	end := func() {
		if open.from >= 0 && sure {
			out = append(out, open)
		}
		open, sure = run{from: -1}, false
	}
	for i, e := range t.excess {
		if e <= maybe {
			if open.from >= 0 && i-open.to >= hole {
				end()
			}
			continue
		}
		if open.from < 0 {
			open.from = i
		}
		open.to = i + 1
		sure = sure || e > surely
	}
	end()
	return out
}

// inside returns what of the runs belongs to the piece.
func (t *trace) inside(runs []run, p Piece) []run {
	var out []run
	for _, r := range runs {
		if t.seconds(r.to) <= p.From || t.seconds(r.from) > p.To+afterEnd {
			continue
		}
		for t.seconds(r.from) < p.From-leadIn {
			r.from++
		}
		r.to = t.endOf(r, p.To)
		out = append(out, r)
	}
	return out
}

// endOf returns where a run ends that sounds on behind the piece. Where it
// becomes louder again somebody talks, or a phone turns the noise up; what
// belongs to the piece ends at the softest moment before.
func (t *trace) endOf(r run, end float64) int {
	least, at, noise := math.Inf(1), r.from, 10*math.Log10(math.Max(t.idle, 1e-12))
	for i := r.from; i < r.to; i++ {
		if t.seconds(i) <= end+afterEnd {
			continue
		}
		l := float64(t.level[i])
		if back := i - t.frames(flatFor); l < noise+nearNoise && back > r.from && float64(t.level[back])-l < flat {
			return back + 1
		}
		if l > least+anew {
			return at + 1
		} else if l < least {
			least, at = l, i
		}
	}
	return r.to
}

// loudest returns the loudest frame of a run, dB.
func (t *trace) loudest(r run) float64 { return float64(slices.Max(t.level[r.from:r.to])) }

// playedAt returns how loud the playing is: the level that a tenth of its frames
// pass.
func (t *trace) playedAt(runs []run) float64 {
	var all []float32
	for _, r := range runs {
		all = append(all, t.level[r.from:r.to]...)
	}
	if len(all) == 0 {
		return math.Inf(-1)
	}
	slices.Sort(all)
	return float64(all[len(all)*9/10])
}

// withoutKnocks leaves out what is short, soft and alone.
func (t *trace) withoutKnocks(runs []run, loud float64) []run {
	var out []run
	for i, r := range runs {
		near := i > 0 && r.from-runs[i-1].to < t.frames(alone) ||
			i+1 < len(runs) && runs[i+1].from-r.to < t.frames(alone)
		// A frame and its neighbour hear a click both.
		if !near && r.to-r.from <= t.frames(shortest)+1 && t.loudest(r) < loud-softBy {
			continue
		}
		out = append(out, r)
	}
	return out
}

// tail returns how long a run goes on under the noise, seconds: as it dies away,
// down to tailDepth under its loudest moment or so far into the noise that nobody
// hears it, or for as long as it rings on.
func (t *trace) tail(r run) float64 {
	last := float64(t.level[r.to-1])
	far := last - (t.loudest(r) - tailDepth)
	length := min(max(min(far, masked)/t.decay(r), leastTail), mostTail)
	return t.unlessTapped(r, t.rung(r), length)
}

// decay returns how fast the end of a run dies away, dB a second: the steepest
// way down to its last frame.
func (t *trace) decay(r run) float64 {
	end, steepest := r.to-1, slowest
	// A frame back at least: at 8 kHz one lasts longer than half a click.
	for i := end - max(1, t.frames(shortest/2)); i >= max(r.from, end-t.frames(0.5)); i-- {
		fall := float64(t.level[i] - t.level[end])
		steepest = max(steepest, fall/(t.seconds(end)-t.seconds(i)))
	}
	return steepest
}

// distance returns how far the playing lies over the noise.
func (t *trace) distance(runs []run) float64 {
	power, n := 0.0, 0
	for _, r := range runs {
		for _, l := range t.level[r.from:r.to] {
			power += math.Pow(10, float64(l)/10)
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return 10 * math.Log10(power/float64(n)/math.Max(t.quiet, 1e-12))
}

// lowDistance returns how far the playing lies over the noise in its lows.
func (t *trace) lowDistance(runs []run) float64 {
	power, n := 0.0, 0
	for _, r := range runs {
		for _, p := range t.low[r.from:r.to] {
			power += float64(p)
			n++
		}
	}
	if n == 0 {
		return math.NaN()
	}
	return 10 * math.Log10(math.Max(power/float64(n), 1e-12)/math.Max(t.under, 1e-12))
}
