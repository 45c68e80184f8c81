package tempo

import "fmt"

// tempoLayer turns the changes into segments one after another. Speeds are in
// quarters a minute from here on, whatever the beat units were, so that a
// meter change within a ramp needs no care.
type tempoLayer struct {
	*builder
	segments []segment
	ramp     int     // change whose ramp is under way, −1: none
	rampEnd  float64 // quarter where it ends
}

// layTempo fills m.segments, with guide time 0 at the first change for now:
// the count-in before it can only be measured once the tempo is known.
func (b *builder) layTempo() {
	l := tempoLayer{builder: b, ramp: -1}
	for i, c := range b.spec.Changes {
		if at, ok := b.quarter(i, "measure", c.Measure, c.at()); ok {
			l.change(i, c, at)
		}
	}
	l.endRamp()
	// The count-in keeps the first tempo even where the piece begins with a
	// ramp or a hold: a segment for all that comes before.
	if len(l.segments) > 0 {
		first := l.segments[0]
		lead := segment{quarter: first.quarter - 1, speed: first.speed}
		if in := b.m.spec.CountIn; in.Measures > 0 && in.Speed > 0 {
			lead.speed = in.Speed
		}
		lead.seconds = first.seconds - lead.after(1)
		l.segments = append([]segment{lead}, l.segments...)
	}
	b.m.segments = l.segments
}

// change adds the segment that change i begins at a quarter.
func (l *tempoLayer) change(i int, c Change, at float64) {
	if c.BPM == 0 && c.RampTo == 0 {
		return // a meter alone leaves the speed and any ramp as they are
	}
	if l.ramp >= 0 && at < l.rampEnd {
		l.builder.change(i, "measure", fmt.Sprintf("measure %d: a tempo within the ramp of measure %d", c.Measure,
			l.spec.Changes[l.ramp].Measure), "end the ramp before it")
		return
	}
	l.endRamp()
	var speed, slope float64
	switch n := len(l.segments); {
	case c.BPM != 0:
		speed = l.speed(i, c.BPM)
	case n > 0:
		speed = l.segments[n-1].speed
	default:
		return // the first change has a fault that is reported already
	}
	if c.RampTo != 0 {
		end, ok := l.quarter(i, "until", c.Until, c.untilBeat())
		if !ok {
			return
		}
		if end-at < snap { // its slope would be no number
			l.builder.change(i, "until", fmt.Sprintf("measure %d: the ramp ends where it begins", c.Measure),
				"until is the measure where the new tempo is reached")
			return
		}
		l.ramp, l.rampEnd = i, end
		slope = (l.speed(i, c.RampTo) - speed) / (end - at)
	}
	l.begin(at, speed, slope)
}

// endRamp goes on in the tempo that the ramp under way leads to. That tempo
// is taken as written and not from the ramp's end, where it would be rounded.
func (l *tempoLayer) endRamp() {
	if l.ramp >= 0 {
		l.begin(l.rampEnd, l.speed(l.ramp, l.spec.Changes[l.ramp].RampTo), 0)
		l.ramp = -1
	}
}

// begin starts a segment where the one before has arrived. One of no length,
// as at the end of a ramp that a new tempo follows at once, is replaced.
func (l *tempoLayer) begin(quarter, speed, slope float64) {
	s := segment{quarter: quarter, speed: speed, slope: slope}
	if n := len(l.segments); n > 0 {
		last := l.segments[n-1]
		s.seconds = last.seconds + last.after(quarter-last.quarter)
		if last.quarter == quarter {
			l.segments = l.segments[:n-1]
		}
	}
	l.segments = append(l.segments, s)
}

// quarter returns the place of a beat of change i; a fault when there is none.
func (b *builder) quarter(i int, field string, measure int, beat float64) (float64, bool) {
	q, err := b.m.Quarters(Position{measure, beat})
	if err != nil {
		b.change(i, field, err.Error(), "")
		return 0, false
	}
	return q, true
}

// speed returns bpm in quarters a minute, in the beat unit of change i.
func (b *builder) speed(i int, bpm float64) float64 {
	c := b.spec.Changes[i]
	unit := c.Beat
	if unit.IsZero() {
		_, meter := b.m.measure(c.Measure)
		unit = meter.Unit()
	}
	return bpm * unit.Quarters()
}
