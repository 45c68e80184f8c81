package tempo

import (
	"fmt"
	"strconv"
)

// Span is a run of measures, both ends included.
type Span struct{ From, To int }

// Excerpt returns the spec of the piece played in that order: repeats written out,
// or a single span for a re-take from measure From on. Measures are numbered
// anew from 1 in the order they are played. The count-in is kept, the pick-up
// when the first span begins with measure 1. Places on paper go with their measures.
// A ramp cut by the end of a span
// ends there at the tempo it has reached; holds go with their measures.
//
// Guide time changes with the order. For a re-take from measure x, a moment t
// of the excerpt's guide is t − e.Seconds(measure 1) + m.Seconds(measure x) of
// this one, for all of the span. Spans outside the piece are an error.
func (m *Map) Excerpt(order ...Span) (Spec, error) {
	out := Spec{CountIn: m.spec.CountIn}
	if len(order) == 0 {
		return Spec{}, fmt.Errorf("tempo: an excerpt of no measures")
	}
	if order[0].From == 1 {
		out.PickUp = m.spec.PickUp
	} else if f := order[0].From; out.CountIn.Speed > 0 && f > 0 && f <= m.spec.Measures {
		// The count-in leads into the measure that is played first.
		from, meter := m.measure(f)
		out.CountIn.Speed = 60 * meter.Quarters() / (m.SecondsAt(from+meter.Quarters()) - m.SecondsAt(from))
	}
	for _, s := range order {
		if s.From < 1 || s.To < s.From || s.To > m.spec.Measures {
			return Spec{}, fmt.Errorf("tempo: measures %d to %d are not in the piece, which has measures 1 to %d",
				s.From, s.To, m.spec.Measures)
		}
		shift := out.Measures + 1 - s.From
		pickUp := out.PickUp > 0 && out.Measures == 0
		out.Changes = append(out.Changes, m.changes(s, shift, pickUp)...)
		for _, h := range m.spec.Holds {
			n := h.At.Measure
			if n >= s.From && n <= s.To || n == 0 && pickUp || n == m.spec.Measures+1 && s.To == m.spec.Measures {
				h.At.Measure += shift
				out.Holds = append(out.Holds, h)
			}
		}
		if len(m.spec.Paper) > 0 {
			out.Paper = append(out.Paper, m.spec.Paper[s.From-1:s.To]...)
		}
		out.Measures += s.To - s.From + 1
		if out.Measures > MaxMeasures {
			return Spec{}, fmt.Errorf("tempo: the excerpt has more than %d measures", MaxMeasures)
		}
	}
	return out, nil
}

// InOrder returns an excerpt that also says where the page, this map's measures,
// has what is played.
func (m *Map) InOrder(order ...Span) (Spec, error) {
	out, err := m.Excerpt(order...)
	if err != nil {
		return out, err
	}
	var measures []string
	for _, s := range order {
		for n := s.From; n <= s.To; n++ {
			measures = append(measures, strconv.Itoa(n))
		}
	}
	out.Paper = PlacesOf(measures)
	return out, nil
}

// PlacesOf returns the places of measures with these numbers on paper, in the order
// of playing: nil when they are numbered as they are played.
func PlacesOf(numbers []string) []Place {
	times := map[string]int{}
	places := make([]Place, len(numbers))
	same := true
	for i, n := range numbers {
		times[n]++
		places[i] = Place{n, times[n]}
		same = same && n == strconv.Itoa(i+1)
	}
	if same {
		return nil
	}
	return places
}

// changes describes the meters and tempos of a span in full, measures moved
// by shift, with or without the pick-up before it. Tempos are in quarters a
// minute, whatever they were written in.
func (m *Map) changes(s Span, shift int, pickUp bool) []Change {
	from, meter := m.measure(s.From)
	to, _ := m.measure(s.To + 1)
	first := s.From + shift
	if pickUp {
		from, first = -m.pickUp, 0
	}
	out := []Change{{Measure: first, Meter: meter}}
	// at gives the change at a place, which is the last one or a new one.
	at := func(p Position) *Change {
		last := &out[len(out)-1]
		if last.Measure != p.Measure+shift || last.at() != p.Beat {
			out = append(out, Change{Measure: p.Measure + shift, At: p.Beat})
		}
		return &out[len(out)-1]
	}
	meters := m.meterChanges(s)
	for i, seg := range m.segments {
		begin, end := max(seg.quarter, from), to
		if i+1 < len(m.segments) {
			end = min(end, m.segments[i+1].quarter)
		}
		if begin >= end {
			continue
		}
		for len(meters) > 0 && meters[0].quarter <= begin {
			at(Position{meters[0].measure, 1}).Meter = meters[0].meter
			meters = meters[1:]
		}
		c := at(m.PositionAt(begin))
		c.Beat, c.BPM = Unit{1, 4}, seg.speed+seg.slope*(begin-seg.quarter)
		if seg.slope != 0 {
			p := Position{s.To + 1, 1}
			if end < to {
				p = m.PositionAt(end)
			}
			c.RampTo, c.Until, c.UntilBeat = seg.speed+seg.slope*(end-seg.quarter), p.Measure+shift, p.Beat
		}
	}
	for _, r := range meters {
		at(Position{r.measure, 1}).Meter = r.meter
	}
	return out
}

// meterChanges lists the meters that begin within the span, after its first
// measure.
func (m *Map) meterChanges(s Span) []run {
	var out []run
	for _, r := range m.runs {
		if r.measure > s.From && r.measure <= s.To {
			out = append(out, r)
		}
	}
	return out
}
