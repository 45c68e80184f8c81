package playing

import (
	"cmp"
	"math"
	"slices"

	"ripieno/mix/robust"
	"ripieno/mix/tempo"
)

const (
	// near is how far from its place a note may begin, seconds; what is further
	// off is a wrong or an additional note, an echo, or no note at all.
	near = 0.09
	// fewestNotes is the least for a spread of a whole take.
	fewestNotes = 8
	// softRise is the rise of a typical note above which its beginning is heard
	// to no better than some 10 ms (simulated bowed and sung notes).
	softRise = 0.055
	// players' scatter about the grid, seconds, as package align has it.
	gridSigma = 0.022
)

// Classes of places where notes may begin. Thirds of a dotted beat are the
// meter's own and say nothing about triplets in another.
const (
	onBeat = iota
	onHalf
	onQuarter
	onThird
	onDotted // thirds of a dotted beat
	classes
)

// slot is a place where a note may begin.
type slot struct {
	at      float64
	class   int
	measure int
}

// slots returns the places that the meter offers, in order of time: beats, and
// their halves, quarters and thirds where a beat is long enough to tell them
// apart.
func slots(m *tempo.Map) []slot {
	var out []slot
	for _, division := range []struct{ parts, class int }{{1, onBeat}, {2, onHalf}, {3, onThird}, {4, onQuarter}} {
		for b := range m.Pulses(m.Start(), m.End(), division.parts) {
			if b.CountIn || (b.Part == 0) != (division.parts == 1) || division.parts == 4 && b.Part == 2 {
				continue
			}
			if !offers(m.Meter(b.Measure), beatLength(m, b, division.parts), division.parts) {
				continue
			}
			class := division.class
			if class == onThird && dotted(m.Meter(b.Measure)) {
				class = onDotted
			}
			out = append(out, slot{b.Seconds, class, b.Measure})
		}
	}
	slices.SortStableFunc(out, func(a, b slot) int { return cmp.Compare(a.at, b.at) })
	return out
}

// beatLength returns the length of the beat that a pulse is a part of, holds left
// out.
func beatLength(m *tempo.Map, b tempo.Beat, parts int) float64 {
	if b.Part == 0 || parts == 1 {
		return b.Length
	}
	return b.Length * float64(parts) / float64(parts-b.Part)
}

// dotted reports whether a meter's beats fall into three.
func dotted(meter tempo.Meter) bool { return meter.Unit().Num == 3 }

// offers reports whether a beat of that length is divided into so many parts.
func offers(meter tempo.Meter, length float64, parts int) bool {
	if dotted(meter) { // thirds only
		return parts == 1 || parts == 3
	}
	switch parts {
	case 3:
		return length >= 0.55
	case 4:
		return length >= 0.36
	}
	return true
}

// struck is the guide time at which a note begins.
type struck float64

// struckMost is the share of the onsets that must be struck clearly for the
// others to be left out; with fewer, the take is played legato.
const struckMost = 0.6

// onsets returns the beginnings of notes of the music, and whether most of them are
// too soft to be timed to a few milliseconds. When most are struck clearly the
// others are left out, since slurred notes are timed less well.
func (t *Take) onsets(from, to float64) (notes []struck, soft bool) {
	if t.Features == nil {
		return nil, false
	}
	var clear, all []struck
	var rise []float64
	for _, e := range t.Features.Events {
		at := t.guide(e.Heard)
		if at < from-near || at > to+near || t.isMuted(at) || e.Level < t.Features.LoudDB-20 || e.Strength < 2 {
			continue
		}
		switch {
		case e.Strength >= 4 && !e.Pitch && !e.Slow:
			clear, all = append(clear, struck(at)), append(all, struck(at))
			rise = append(rise, e.Rise)
		case e.Level > t.Features.LoudDB-14: // a slurred note, no click from headphones
			all = append(all, struck(at))
		}
	}
	if float64(len(clear)) < struckMost*float64(len(all)) {
		return all, true
	}
	return clear, robust.Median(rise) > softRise
}

// placed is a note with the place it belongs to.
type placed struct {
	late    float64 // against the place
	measure int
}

// place finds for every onset the nearest of the places that this take uses. With
// a score those are its notes; without, the classes of slots that explain
// enough of the onsets.
func (t *Take) place(m *tempo.Map, grid []slot, notes []struck) []placed {
	if len(t.Score) > 0 {
		grid = nil
		for _, n := range t.Score {
			if len(grid) == 0 || n.At > grid[len(grid)-1].at {
				grid = append(grid, slot{at: n.At, measure: m.Position(n.At + 1e-6).Measure})
			}
		}
	} else {
		use := used(grid, notes)
		grid = slices.DeleteFunc(slices.Clone(grid), func(s slot) bool { return !use[s.class] })
	}
	steady := 0.0
	var out []placed
	// The second pass looks round the steady lateness that the first found.
	for range 2 {
		out = out[:0]
		var late []float64
		for _, n := range notes {
			s, ok := nearest(grid, float64(n)-steady)
			if ok && math.Abs(float64(n)-steady-s.at) <= near {
				out = append(out, placed{float64(n) - s.at, s.measure})
				late = append(late, float64(n)-s.at)
			}
		}
		if len(late) == 0 {
			break
		}
		steady = robust.Median(late)
	}
	return out
}

// nearest returns the slot nearest to a time.
func nearest(grid []slot, at float64) (slot, bool) {
	if len(grid) == 0 {
		return slot{}, false
	}
	i, _ := slices.BinarySearchFunc(grid, at, func(s slot, at float64) int { return cmp.Compare(s.at, at) })
	if i == len(grid) || i > 0 && at-grid[i-1].at < grid[i].at-at {
		i--
	}
	return grid[i], true
}

// used estimates by expectation and maximisation how large a share of the
// onsets each class of slots explains, beside notes that lie anywhere, and
// tells which explain enough.
func used(grid []slot, notes []struck) [classes]bool {
	var by [classes][]slot
	for _, s := range grid {
		by[s.class] = append(by[s.class], s)
	}
	const anywhere = 0.15 // share of onsets that belong to no slot
	density := make([][classes]float64, len(notes))
	for i, n := range notes {
		for c := range by {
			if s, ok := nearest(by[c], float64(n)); ok {
				u := (float64(n) - s.at) / gridSigma
				// Spread over a class's slots: a crowded class expects less in each.
				density[i][c] = math.Exp(-u*u/2) / (gridSigma * math.Sqrt(2*math.Pi) * float64(len(by[c])))
			}
		}
	}
	share := [classes]float64{}
	span := 0.0
	if len(grid) > 0 {
		span = grid[len(grid)-1].at - grid[0].at
	}
	for c := range share {
		share[c] = (1 - anywhere) / classes
	}
	for range 30 {
		var sum [classes]float64
		for _, d := range density {
			total := anywhere / max(span, 1)
			for c := range share {
				total += share[c] * d[c]
			}
			for c := range share {
				sum[c] += share[c] * d[c] / total
			}
		}
		for c := range share {
			share[c] = (1 - anywhere) * (sum[c] + 0.5) / (float64(len(notes)) + 0.5*classes)
		}
	}
	var use [classes]bool
	for c := range use {
		use[c] = c == onBeat || share[c] > 0.06
	}
	return use
}

// timing fills in the report's timing and its measures'.
func (r *Report) timing(all []placed, soft bool) {
	r.Timing = Timing{Notes: len(all), Spread: math.NaN(), Soft: soft}
	late := make([]float64, len(all))
	for i, p := range all {
		late[i] = p.late
	}
	steady := robust.Median(slices.Clone(late))
	away := make([]float64, len(late))
	within := make([][]float64, len(r.Measures))
	for i, v := range late {
		away[i] = math.Abs(v - steady)
		if k := all[i].measure - 1; k >= 0 && k < len(within) {
			within[k] = append(within[k], v-steady)
		}
	}
	if len(late) >= fewestNotes {
		r.Timing.Spread = robust.Spread(away)
	}
	for k, list := range within {
		r.Measures[k].Notes = len(list)
		if len(list) > 0 {
			r.Measures[k].Off, r.Measures[k].Late = off(list), mean(list)
		}
	}
}

// off returns how far the notes of a measure are from the steady timing: with three
// and more robustly, so that one wrong note does not stand for the measure.
func off(late []float64) float64 {
	sum := 0.0
	size := make([]float64, len(late))
	for i, v := range late {
		size[i] = math.Abs(v)
		sum += v * v
	}
	if len(late) < 3 {
		return math.Sqrt(sum / float64(len(late)))
	}
	return robust.Spread(size)
}

// mean returns the mean of v; NaN when empty.
func mean(v []float64) float64 {
	sum := 0.0
	for _, x := range v {
		sum += x
	}
	return sum / float64(len(v))
}
