// Package follow finds the beats of a recording: of an ensemble that plays, or of
// somebody who taps. It gives their times in the recording and makes a tempo map of
// them, so that a guide goes as the recording went.
//
// [Hear] listens once and keeps how strongly something begins at every moment.
// [Onsets.Beats] finds the pulses from a first one on. A person corrects what it found
// in a list ([Parse], [Format]): a line of their own is an [Anchor], which wins and makes
// what lies beside it be found anew. [Clock] puts the beats into a [tempo.Spec].
//
// The beats are found by dynamic programming as in D. P. W. Ellis, "Beat tracking by
// dynamic programming", J. New Music Research 36 (2007): the best train of pulses up to
// a moment is that moment's onset and the best train up to a pulse before. There the
// period is one number for the piece; here it is part of the state and may change from
// one pulse to the next at a price, so that it follows a ritardando or rubato.
//
// Times are seconds of the recording. The package opens no files.
package follow

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"ripieno/mix/tempo"
)

// Ask is what is known of the beats before anybody listens.
type Ask struct {
	// First is where the first pulse is, by ear: it is moved to the onset beside it.
	// NaN: the first clear onset.
	First float64
	// BPM is about how many pulses a minute there are; 0: not known.
	BPM float64
	// Pulses is how many intervals there are between the first pulse and the end; 0: as many
	// as are heard.
	Pulses  int
	Anchors []Anchor
}

// Anchor is a pulse that a person has put where it is.
type Anchor struct {
	At    float64 // seconds, exact
	Index int     // of the pulse, 0 is the first; Uncounted: only that there is one
}

// Uncounted is the Index of an anchor that says only that there is a pulse, not which.
const Uncounted = -1

// Pulse is a pulse that was found.
type Pulse struct {
	At     float64
	Weak   bool // hardly anything begins there: its time follows from its neighbours
	Anchor bool // a person put it there
}

// Bounds of pulses, in seconds from one to the next: 240 to 37 a minute, wider than the
// beats people conduct (common practice, no source).
const (
	shortest = 0.25
	longest  = 1.62
)

// Beats returns the pulses of a recording, in order. Without any clear onset, or with
// anchors that contradict one another, there is an error that says so.
func (o *Onsets) Beats(ask Ask) ([]Pulse, error) {
	known, free, err := ask.anchors()
	if err != nil {
		return nil, err
	}
	fixed := append(slices.Clone(known), free...)
	if len(known) == 0 || known[0].Index > 0 {
		first, ok := o.first(ask.First)
		if !ok {
			return nil, errors.New("nothing in the recording begins clearly enough for a beat")
		}
		if len(known) > 0 && known[0].At-first < float64(known[0].Index)*shortest/4 {
			return nil, fmt.Errorf("beat 1 is at %.2f s, and beat %d is put at %.2f s", first,
				known[0].Index+1, known[0].At)
		}
		known = slices.Insert(known, 0, Anchor{first, 0})
	}
	t := newTracker(o, free)
	brief, long := t, t
	if len(known) > 1 {
		brief, long = t.doubts(known, t.onward(frame(known[0].At), t.period(ask, known[:1])))
	}
	var path []int
	for i, a := range known[:len(known)-1] {
		from, to, n := frame(a.At), frame(known[i+1].At), known[i+1].Index-a.Index
		whole := append(long.between(from, to, n), to)
		if long != t {
			whole = t.better(whole, append(brief.between(from, to, n), to))
		}
		path = append(path, whole[:n]...)
	}
	last := known[len(known)-1]
	from, period := frame(last.At), t.period(ask, known)
	tail := long.onward(from, period)
	if long != t {
		tail = t.better(tail, brief.onward(from, period))
	}
	path = append(path, tail...)
	if ask.Pulses > 0 && len(path) > ask.Pulses+1 {
		path = path[:ask.Pulses+1]
	}
	return t.pulses(path, fixed), nil
}

// period returns about how long the pulses behind the last of the known ones are, in
// seconds: as many as are left until the last onset, as somebody says, or as they repeat.
func (t *tracker) period(ask Ask, known []Anchor) float64 {
	last := known[len(known)-1]
	length, left := t.onsets.end()-last.At, ask.Pulses-1-last.Index
	switch n := len(known); {
	case left > 0 && length > 0:
		return max(shortest, min(length/float64(left), longest))
	case ask.BPM > 0:
		return 60 / ask.BPM
	case n > 1:
		return (last.At - known[n-2].At) / float64(last.Index-known[n-2].Index)
	}
	return t.usualPeriod(frame(last.At))
}

// anchors returns those that are counted, in order, and the others.
func (ask Ask) anchors() (counted, free []Anchor, err error) {
	for _, a := range ask.Anchors {
		if math.IsNaN(a.At) || a.At < 0 {
			return nil, nil, fmt.Errorf("a beat at %g s", a.At)
		}
		if a.Index == Uncounted {
			free = append(free, a)
			continue
		}
		counted = append(counted, a)
	}
	slices.SortStableFunc(counted, func(a, b Anchor) int { return a.Index - b.Index })
	for i, a := range counted {
		if i == 0 {
			continue
		}
		b := counted[i-1]
		if n := a.Index - b.Index; n == 0 || a.At-b.At < float64(n)*shortest/4 {
			return nil, nil, fmt.Errorf("beat %d is put at %.2f s and beat %d at %.2f s", b.Index+1, b.At,
				a.Index+1, a.At)
		}
	}
	return counted, free, nil
}

// Unit returns the length in quarter notes of the pulses that are to be found for a piece:
// its beats where all are equally long, else the longest note that divides all of them.
func Unit(m *tempo.Map) float64 {
	unit := 0.0
	for n := 1; n <= m.Measures(); n++ {
		meter := m.Meter(n)
		for i := range meter.Beats() {
			length := meter.Offset(float64(i+2)) - meter.Offset(float64(i+1))
			if unit == 0 {
				unit = length
			}
			unit = divisor(unit, length)
		}
	}
	return unit
}

// divisor returns the greatest length that divides two note values.
func divisor(a, b float64) float64 {
	const least = 1.0 / 64
	for b > least/2 {
		a, b = b, math.Mod(a, b)
		if a-b < least/2 { // rounding
			b = 0
		}
	}
	return a
}
