package playing

import (
	"cmp"
	"math"
	"slices"

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

// Classes of places where notes may begin.
const (
	onBeat = iota
	onHalf
	onQuarter
	onThird
	classes
)

// slot is a place where a note may begin.
type slot struct {
	at      float64
	class   int
	measure int
}

// slots are the places that the meter offers, in order of time: beats, and
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
			out = append(out, slot{b.Seconds, division.class, b.Measure})
		}
	}
	slices.SortStableFunc(out, func(a, b slot) int { return cmp.Compare(a.at, b.at) })
	return out
}

// beatLength is the length of the beat that a pulse is a part of, holds left
// out.
func beatLength(m *tempo.Map, b tempo.Beat, parts int) float64 {
	if b.Part == 0 || parts == 1 {
		return b.Length
	}
	return b.Length * float64(parts) / float64(parts-b.Part)
}

// offers tells whether a beat of that length is divided into so many parts.
func offers(meter tempo.Meter, length float64, parts int) bool {
	if meter.Unit().Num == 3 { // dotted: thirds only
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

// struck is a note's beginning on guide time.
type struck struct {
	at, rise float64
}

// onsets are the beginnings of notes of the music. When there are enough clear
// ones, the others are left out: faint ones may be clicks from headphones or
// the room, and slurred ones are timed less well.
func (t *Take) onsets(from, to float64) []struck {
	if t.Features == nil {
		return nil
	}
	var clear, all []struck
	for _, e := range t.Features.Events {
		at := t.guide(e.Time)
		if at < from-near || at > to+near || t.quiet(at) {
			continue
		}
		s := struck{at, e.Rise}
		switch {
		case e.Strength >= 4 && e.Level > t.Features.LoudDB-24 && !e.Pitch && !e.Slow:
			clear, all = append(clear, s), append(all, s)
		case e.Strength >= 2.5 && e.Level > t.Features.LoudDB-30:
			all = append(all, s)
		}
	}
	if len(clear) >= fewestNotes {
		return clear
	}
	return all
}

// placed is a note with the place it belongs to.
type placed struct {
	late    float64 // against the place
	measure int
}

// place gives every onset the nearest of the places that this take uses. With
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
			s, ok := nearest(grid, n.at-steady)
			if ok && math.Abs(n.at-steady-s.at) <= near {
				out = append(out, placed{n.at - s.at, s.measure})
				late = append(late, n.at-s.at)
			}
		}
		if len(late) == 0 {
			break
		}
		steady = median(late)
	}
	return out
}

// nearest is the slot nearest to a time.
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
	const floor = 2.0     // density of those, per second
	density := make([][classes]float64, len(notes))
	for i, n := range notes {
		for c := range by {
			if s, ok := nearest(by[c], n.at); ok {
				u := (n.at - s.at) / gridSigma
				// A class with twice as many slots expects half as many in each.
				density[i][c] = math.Exp(-u*u/2) / float64(len(by[c]))
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
			total := anywhere * floor / max(span, 1)
			for c := range share {
				total += share[c] * d[c] / (gridSigma * math.Sqrt(2*math.Pi))
			}
			for c := range share {
				sum[c] += share[c] * d[c] / (gridSigma * math.Sqrt(2*math.Pi)) / total
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
func (r *Report) timing(notes []struck, all []placed) {
	r.Timing = Timing{Notes: len(all), Spread: math.NaN()}
	late, rise := make([]float64, len(all)), make([]float64, 0, len(notes))
	for i, p := range all {
		late[i] = p.late
	}
	for _, n := range notes {
		rise = append(rise, n.rise)
	}
	r.Timing.Soft = median(rise) > softRise
	steady := median(slices.Clone(late))
	away := make([]float64, len(late))
	squares := make([]float64, len(r.Measures))
	sums := make([]float64, len(r.Measures))
	for i, v := range late {
		away[i] = math.Abs(v - steady)
		if k := all[i].measure - 1; k >= 0 && k < len(r.Measures) {
			r.Measures[k].Notes++
			squares[k] += (v - steady) * (v - steady)
			sums[k] += v - steady
		}
	}
	if len(late) >= fewestNotes {
		r.Timing.Spread = 1.4826 * median(away)
	}
	for k := range r.Measures {
		if n := float64(r.Measures[k].Notes); n > 0 {
			r.Measures[k].Off, r.Measures[k].Late = math.Sqrt(squares[k]/n), sums[k]/n
		}
	}
}
