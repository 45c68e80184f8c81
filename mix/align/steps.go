package align

import (
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/robust"
)

// Step is a moment at which two devices that recorded one player stop going together:
// one of them is not one piece of time. Which one, they do not tell.
type Step struct {
	A, B float64 // seconds of the files at which it happens
	Jump float64 // seconds by which A's file runs on there while B's stands still
	Sure bool
}

// Hints returns the two breaks that would make the step: one in A's file, or one in B's.
func (s Step) Hints() (a, b Hint) {
	return Hint{At: s.A, Jump: -s.Jump, By: "device"}, Hint{At: s.B, Jump: s.Jump, By: "device"}
}

// Suspicious reports whether two devices go together for a part of the time only, so
// that [MatchSteps] may find out more.
func (m Match) Suspicious() bool {
	return !m.Sure() || float64(m.Agree) < 0.85*float64(m.Windows)
}

// Bounds of the search for a step.
const (
	stepSlice   = 8.0   // seconds of B that are compared by themselves, at least
	mostSlices  = 16    //
	stepLeast   = 0.012 // seconds; less may be a clock
	stepClocks  = 6e-4  // by which the clocks of two devices may differ
	stepGap     = 2.2   // slices between the middles of two that are one step apart, at most
	stepNear    = 5.0   // seconds by which the place of a step may be off
	stepPlace   = 0.25  // seconds between the places that are tried
	stepSounds  = 0.1   // share of the usual power from which a stretch says whether it fits
	stepBetween = 2.0   // seconds that fit neither part, from which there is a third one
)

// MatchSteps finds the step between two devices of a player, of two steps the first. It is
// not Sure where they go together all the time, or not at all, or not in two or three
// parts. Both sources are read to their ends.
func MatchSteps(a, b audio.Source) (Step, error) {
	return compareDevices(a, b, matchSteps)
}

// lies is where a slice of B lies: at its middle, in seconds of B, A's time is at later.
type lies struct{ mid, at float64 }

// matchSteps looks with long slices, which tell more surely where they lie, and with shorter
// ones where those do not do.
func matchSteps(a, b *device) Step {
	for _, long := range [...]float64{stepSlice, stepSlice * 5 / 8} {
		if s := stepOf(a, b, min(mostSlices, int(b.seconds()/long))); s.Sure {
			return s
		}
	}
	return Step{}
}

// stepOf finds the step by n slices of B.
func stepOf(a, b *device, n int) Step {
	var found []lies
	for i := range n {
		from, to := b.seconds()*float64(i)/float64(n), b.seconds()*float64(i+1)/float64(n)
		m := matchDevices(a, b.slice(from, to))
		if m.Sure() {
			mid := (to - from) / 2
			found = append(found, lies{from + mid, m.OffsetSeconds + mid*m.DriftPPM*1e-6 - from})
		}
	}
	if len(found) < 2 {
		return Step{}
	}
	k := firstStep(found)
	if k == 0 {
		return Step{}
	}
	before, after := found[k-1], found[k]
	// With more between them than one slice, and what is too much in B, it may be two steps.
	slice := b.seconds() / float64(n)
	if after.mid-before.mid > stepGap*slice+math.Max(0, before.at-after.at) {
		return Step{}
	}
	at, from, to := stepAt(a, b, before, after)
	s := Step{Jump: after.at - before.at, B: at, Sure: true}
	if to-from > stepBetween+math.Max(0, -s.Jump) {
		// A stretch that goes with neither: of two steps the first is told, once it is known
		// where that stretch lies.
		m := matchDevices(a, b.slice(from, to))
		mid := (to - from) / 2
		s.Jump = m.OffsetSeconds + mid*m.DriftPPM*1e-6 - from - before.at
		if s.B = from; !m.Sure() || math.Abs(s.Jump) < stepLeast {
			return Step{}
		}
	}
	s.A = s.B + before.at
	return s
}

// firstStep returns the first of some slices that lies apart from the one before; 0 where none
// does, or where more do than two breaks explain. Two that undo each other may be a slice that
// was taken for another.
func firstStep(found []lies) int {
	var steps []int
	for i := 1; i < len(found); i++ {
		d := found[i].at - found[i-1].at
		if math.Abs(d) > stepLeast+stepClocks*(found[i].mid-found[i-1].mid) {
			steps = append(steps, i)
		}
	}
	switch {
	case len(steps) == 1:
		return steps[0]
	case len(steps) == 2 && math.Abs(found[steps[1]].at-found[steps[0]-1].at) > stepLeast:
		return steps[0]
	}
	return 0
}

// slice returns a part of a device's recording.
func (d *device) slice(from, to float64) *device {
	out := &device{work: d.work, floor: d.floor}
	out.x = d.x[min(len(d.x), int(from*d.work)):min(len(d.x), int(to*d.work))]
	i := int(from / changeHop)
	j := max(i, min(len(d.moved)-1, int(to/changeHop)))
	for _, c := range d.change {
		out.change = append(out.change, c[min(i, len(c)):min(j, len(c))])
	}
	out.moved = d.moved[i : j+1]
	return out
}

// stepAt returns the second of B at which it stops lying as before and begins to lie as after,
// and the longest stretch round it that sounds and lies neither way.
func stepAt(a, b *device, before, after lies) (at, lone, end float64) {
	const size = 1 << 13
	p := newPHAT(size, a.work)
	wa, wb := make([]float32, size), make([]float32, size)
	na, nb := a.noise(size), b.noise(size)
	fits := func(t, at float64) (fit, loud float64) {
		k := int((t + at) * a.work)
		warp(wb, b.x, t*b.work, b.work/a.work)
		for _, v := range wb {
			loud += float64(v) * float64(v)
		}
		if k < 0 || k+size > len(a.x) {
			return 0, loud
		}
		copy(wa, a.x[k:k+size])
		d, peak := p.delay(wa, wb, na, nb, a.work, int(0.1*a.work))
		if math.Abs(d) > 0.003*a.work {
			return 0, loud
		}
		return math.Max(0, math.Min(6, peak-3.5)), loud
	}
	length := float64(size) / a.work
	from, to := before.mid-stepSlice, after.mid+stepSlice
	var sum, best float64
	var most, louds []float64
	first := math.Inf(1)
	at = (before.mid + after.mid) / 2
	for t := from; t < to; t += stepPlace {
		early, loud := fits(t, before.at)
		late, _ := fits(t, after.at)
		if t+length > before.mid && t < after.mid {
			first = math.Min(first, t)
			most, louds = append(most, math.Max(early, late)), append(louds, loud)
		}
		if sum += early - late; sum > best {
			best, at = sum, t+stepPlace/2+length/2
		}
	}
	lone, end = longestLone(most, louds)
	return at, first + lone*stepPlace + length/2, first + end*stepPlace + length/2
}

// longestLone returns the longest run of windows none of which fits although it sounds, as the
// first of them and the one after the last.
func longestLone(fit, loud []float64) (from, to float64) {
	usual := robust.Median(loud)
	run := 0
	for i := range fit {
		if run++; fit[i] > 0 || loud[i] < stepSounds*usual {
			run = 0
		}
		if float64(run) > to-from {
			from, to = float64(i+1-run), float64(i+1)
		}
	}
	return from, to
}
