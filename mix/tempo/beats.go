package tempo

import (
	"iter"
	"math"
)

// Beat is one click of the guide.
type Beat struct {
	Seconds  float64 // guide time
	Measure  int     // of the count-in, from 1, when CountIn is set; else of the piece, 0 for the pick-up
	Number   int     // beat in the full measure from 1: the pick-up of one beat in 4/4 is number 4
	Downbeat bool    // first beat of a measure
	Accent   bool    // first beat of a written group, such as the 4th in 3+2/4; downbeats too
	CountIn  bool    // before the piece
	Cue      bool    // on this beat all clap
	Length   float64 // seconds to the next beat, holds included

	// Part is 0 on a beat and 1, 2, ... on its subdivisions, which only
	// [Map.Pulses] gives; Downbeat, Accent and Cue are for Part 0 alone.
	Part int
}

// Beats returns all beats in order: the count-in, then the piece. Beats that
// the pick-up shares with the count-in's last measure count as the piece.
func (m *Map) Beats() iter.Seq[Beat] { return m.Pulses(math.Inf(-1), math.Inf(1), 1) }

// Pulses returns the beats and their subdivisions from a guide time (included)
// to another (not included). Each beat has that many equal parts; 0 means the
// written ones: three eighths in 6/8, the units of a group in 3+2/8, and two
// halves of a beat that is one written note. It takes time for the pulses it
// gives only, so that a long guide can be made piecewise.
func (m *Map) Pulses(from, to float64, parts int) iter.Seq[Beat] {
	return func(yield func(Beat) bool) {
		for n := m.firstMeasure(from); n <= m.spec.Measures; n++ {
			if n == 0 {
				continue // no measure begins there: see Position.Measure
			}
			start, meter := m.measure(n)
			if m.SecondsAt(start) >= to {
				return
			}
			for i := range meter.Beats() {
				if !m.pulse(n, i, start, meter, parts, from, to, yield) {
					return
				}
			}
		}
	}
}

// firstMeasure returns the first measure that can hold a pulse at or after from.
func (m *Map) firstMeasure(from float64) int {
	earliest := -m.spec.CountIn.Measures
	if earliest == 0 {
		earliest = 1
		if m.pickUp > 0 {
			earliest = -1 // the pick-up is the end of a measure before 1
		}
	}
	if math.IsInf(from, -1) || math.IsNaN(from) {
		return earliest
	}
	// One measure earlier, for holds and rounding at the barline.
	n := m.Position(from).Measure - 1
	if n <= 0 {
		n--
	}
	return max(n, earliest)
}

// pulse yields beat i of measure n and its parts; false ends the sequence.
func (m *Map) pulse(n, i int, start float64, meter Meter, parts int, from, to float64, yield func(Beat) bool) bool {
	q0, q1 := start+meter.offset(float64(i+1)), start+meter.offset(float64(i+2))
	// What the meter writes: the units of a beat, or halves of a single unit,
	// since a beat of one undivided note has no subdivision to hear.
	if parts <= 0 {
		parts = int(meter.units[i])
		if parts == 1 {
			parts = 2
		}
	}
	countIn := m.spec.CountIn
	next := m.SecondsAt(q1)
	if q1 == m.end { // a hold there lengthens the last beat
		next = m.End()
	}
	for part := range parts {
		q := q0 + (q1-q0)*float64(part)/float64(parts)
		t := m.SecondsAt(q)
		if t >= to {
			return false
		}
		if t < from || q < m.begin-snap {
			continue
		}
		b := Beat{Seconds: t, Measure: n, Number: i + 1, Length: next - t, Part: part}
		if n < 0 {
			// The last measure before 1 is shared: count-in up to the pick-up.
			b.CountIn = q < -m.pickUp-snap
			b.Measure = 0
			if b.CountIn {
				b.Measure = n + countIn.Measures + 1
			}
		}
		if part == 0 {
			b.Downbeat = i == 0
			b.Accent = meter.accent&(1<<i) != 0
			b.Cue = b.CountIn && b.Measure == countIn.CueMeasure && float64(b.Number) == countIn.CueBeat
		}
		if !yield(b) {
			return false
		}
	}
	return true
}
