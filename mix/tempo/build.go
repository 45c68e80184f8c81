package tempo

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// New checks spec and builds its map. Every fault is found in one go: the
// error joins *[Error] values, which [Errors] lists.
func New(spec Spec) (*Map, error) {
	b := builder{spec: spec}
	b.spec.Changes = append([]Change(nil), spec.Changes...)
	b.spec.Holds = append([]Hold(nil), spec.Holds...)
	b.spec.Paper = append([]Place(nil), spec.Paper...)
	// The order of measures must be sound before places can be worked out.
	if b.checkFrame(); len(b.faults) > 0 {
		return nil, errors.Join(b.faults...)
	}
	b.layMeasures()
	b.checkPickUp()
	b.checkCountIn()
	if len(b.faults) == 0 {
		b.layTempo()
	}
	if len(b.faults) == 0 {
		b.layHolds()
	}
	if len(b.faults) > 0 {
		return nil, errors.Join(b.faults...)
	}
	b.place()
	return &b.m, nil
}

// builder checks a spec and fills a map step by step. Steps that need sound
// values come after the checks of those, so a fault is reported once and not
// again as its own consequence.
type builder struct {
	spec   Spec
	m      Map
	faults []error
}

func (b *builder) fail(e Error) { b.faults = append(b.faults, &e) }

// change reports a fault of change i.
func (b *builder) change(i int, field, what, hint string) {
	b.fail(Error{Change: i, Hold: -1, Measure: b.spec.Changes[i].Measure, Field: field, What: what, Hint: hint})
}

// whole reports a fault of the piece as a whole.
func (b *builder) whole(field, what, hint string) {
	b.fail(Error{Change: -1, Hold: -1, Field: field, What: what, Hint: hint})
}

// checkFrame checks what the later steps stand on: the number of measures and
// the order and first fields of the changes.
func (b *builder) checkFrame() {
	s := &b.spec
	if s.Measures < 1 || s.Measures > MaxMeasures {
		b.whole("measures", fmt.Sprintf("the piece has %d measures", s.Measures),
			fmt.Sprintf("give the number of measures, 1 to %d", MaxMeasures))
	}
	if n := len(s.Paper); n != 0 && n != s.Measures {
		b.whole("measures", fmt.Sprintf("the page names %d of %d measures", n, s.Measures), "")
	}
	if len(s.Changes) == 0 {
		b.whole("changes", "no tempo is given", "give a first change with measure 1, a meter and a bpm")
		return
	}
	for i := range s.Changes {
		b.checkChange(i)
	}
	c := s.Changes[0]
	if first := c.Measure == 0 && s.PickUp > 0 || c.Measure == 1; !first || c.at() != 1 {
		b.change(0, "measure", fmt.Sprintf("the first change is at %s", Position{c.Measure, c.at()}),
			"the first change must be at measure 1")
	}
	if c.Meter.IsZero() {
		b.change(0, "meter", fmt.Sprintf("measure %d: the first change has no meter", c.Measure),
			"add a meter such as 4/4")
	}
	if c.BPM == 0 {
		b.change(0, "bpm", fmt.Sprintf("measure %d: the first change has no tempo", c.Measure),
			"add a bpm, beats a minute")
	}
}

// at and untilBeat are the beats of a change with their default.
func (c Change) at() float64 {
	if c.At == 0 {
		return 1
	}
	return c.At
}

func (c Change) untilBeat() float64 {
	if c.UntilBeat == 0 {
		return 1
	}
	return c.UntilBeat
}

// checkChange checks what can be said of one change without the measures.
func (b *builder) checkChange(i int) {
	s, c := &b.spec, b.spec.Changes[i]
	at := fmt.Sprintf("measure %d: ", c.Measure)
	// The beats of a pick-up are measure 0.
	lowest := 1
	if s.PickUp > 0 {
		lowest = 0
	}
	if c.Measure < lowest || c.Measure > s.Measures && s.Measures > 0 {
		b.change(i, "measure", fmt.Sprintf("measure %d is not in the piece, which has measures %d to %d", c.Measure,
			lowest, s.Measures), "")
	}
	if i > 0 {
		p := s.Changes[i-1]
		switch {
		case c.Measure == p.Measure && c.at() == p.at():
			b.change(i, "measure", at+"two changes at one place", "write them as one change")
		case c.Measure < p.Measure || c.Measure == p.Measure && c.at() < p.at():
			b.change(i, "measure", fmt.Sprintf("measure %d comes after measure %d", c.Measure, p.Measure),
				"list the changes in the order of the piece")
		}
	}
	if !c.Meter.IsZero() && (c.at() != 1 || c.Measure == 0 && i > 0) {
		b.change(i, "meter", at+"a meter can only change on the downbeat", "")
	}
	b.checkSpeed(i, "bpm", at, c.BPM)
	b.checkSpeed(i, "ramp_to", at, c.RampTo)
	if !c.Beat.IsZero() && !c.Beat.valid() {
		b.change(i, "beat", at+fmt.Sprintf("note value %s cannot be a beat", c.Beat),
			"quarter, half, eighth, or one of them dotted")
	}
	if !c.Beat.IsZero() && c.BPM == 0 && c.RampTo == 0 {
		b.change(i, "beat", at+"a beat unit without a bpm says nothing", "add the bpm, or leave the beat unit out")
	}
	// Until is checked last and one fault of it is told, since a ramp without a target has no
	// end that could be wrong.
	switch {
	case c.RampTo == 0 && (c.Until != 0 || c.UntilBeat != 0):
		b.change(i, "until", at+"until without ramp_to", "say which tempo the ramp goes to")
	case c.RampTo != 0 && c.Until == 0:
		b.change(i, "ramp_to", at+"ramp_to without until", "say at which measure the ramp ends")
	case c.RampTo != 0 && (c.Until < c.Measure || c.Until == c.Measure && c.untilBeat() <= c.at()):
		b.change(i, "until", fmt.Sprintf("measure %d: the ramp ends in measure %d, which is not later", c.Measure,
			c.Until), "until is the measure where the new tempo is reached")
	case c.RampTo != 0 && s.Measures > 0 && (c.Until > s.Measures+1 || c.Until == s.Measures+1 && c.untilBeat() != 1):
		b.change(i, "until", fmt.Sprintf("measure %d: the ramp ends in measure %d, the piece in measure %d", c.Measure,
			c.Until, s.Measures), fmt.Sprintf("a ramp to the very end has until %d", s.Measures+1))
	case c.Meter.IsZero() && c.BPM == 0 && c.RampTo == 0 && c.Beat.IsZero():
		b.change(i, "measure", at+"the change changes nothing", "add a meter, a bpm or a ramp")
	}
}

// checkSpeed refuses what is no tempo; the comparison is also false for NaN.
func (b *builder) checkSpeed(i int, field, at string, bpm float64) {
	if bpm != 0 && !(bpm >= MinBPM && bpm <= MaxBPM) {
		b.change(i, field, at+fmt.Sprintf("a tempo of %.6g beats a minute", bpm),
			fmt.Sprintf("give %g to %g", MinBPM, MaxBPM))
	}
}

// layMeasures finds where each stretch of one meter begins.
func (b *builder) layMeasures() {
	b.m.spec = b.spec
	b.m.first = b.spec.Changes[0].Meter
	b.m.runs = []run{{1, 0, b.m.first}}
	for _, c := range b.spec.Changes[1:] {
		last := b.m.runs[len(b.m.runs)-1]
		if c.Meter.IsZero() || c.Meter == last.meter {
			continue
		}
		if c.Measure == last.measure {
			// Measure 1 after a tempo in the pick-up: the pick-up is the end
			// of a full measure of its meter.
			b.m.runs[len(b.m.runs)-1].meter = c.Meter
			b.m.first = c.Meter
			continue
		}
		q := last.quarter + float64(c.Measure-last.measure)*last.meter.Quarters()
		b.m.runs = append(b.m.runs, run{c.Measure, q, c.Meter})
	}
	b.m.end, _ = b.m.measure(b.spec.Measures + 1)
}

// checkPickUp finds the pick-up's length. It is the end of a full measure,
// which matters for meters with unequal beats.
func (b *builder) checkPickUp() {
	p, beats := b.spec.PickUp, b.m.first.Beats()
	if p == 0 {
		return
	}
	if !(p > 0 && p < float64(beats)) {
		b.whole("pick_up", fmt.Sprintf("a pick-up of %.6g beats in %s", p, b.m.first),
			fmt.Sprintf("a pick-up is shorter than its measure: less than %d beats", beats))
		b.spec.PickUp, b.m.spec.PickUp = 0, 0
		return
	}
	b.m.pickUp = b.m.first.Quarters() - b.m.first.offset(float64(beats)-p+1)
}

// checkCountIn fills in the default cue and checks its place. The cue is a
// whole beat because players clap with a click, and before the pick-up because
// the first to play must not have their hands full.
func (b *builder) checkCountIn() {
	c := &b.m.spec.CountIn
	switch {
	case c.Measures < 0 || c.Measures > MaxCountIn:
		b.whole("count_in", fmt.Sprintf("a count-in of %d measures", c.Measures),
			fmt.Sprintf("8 and 4 are common; at most %d", MaxCountIn))
		return
	case c.Measures == 0:
		if c.CueMeasure != 0 || c.CueBeat != 0 {
			b.whole("cue", "a cue without a count-in", "give the count-in a number of measures")
		}
		return
	case c.CueMeasure == 0 && c.CueBeat == 0:
		c.CueMeasure, c.CueBeat = DefaultCue(c.Measures)
	case c.CueBeat == 0:
		c.CueBeat = 1
	}
	if !(c.Lead >= 0 && c.Lead <= MaxLead) {
		b.whole("count_in", fmt.Sprintf("%.6g seconds before the count-in", c.Lead), fmt.Sprintf("0 to %g", MaxLead))
	}
	if c.Speed != 0 && !(c.Speed >= MinBPM && c.Speed <= MaxBPM) {
		b.whole("count_in", fmt.Sprintf("a count-in of %.6g quarter notes a minute", c.Speed), "")
	}
	beats := b.m.first.Beats()
	switch {
	case c.CueMeasure < 1 || c.CueMeasure > c.Measures:
		b.whole("cue", fmt.Sprintf("the cue is in measure %d of the count-in, which has %d", c.CueMeasure, c.Measures),
			"")
	case !(c.CueBeat >= 1 && c.CueBeat <= float64(beats)) || c.CueBeat != math.Trunc(c.CueBeat):
		b.whole("cue", fmt.Sprintf("the cue is on beat %.6g of measure %d of the count-in", c.CueBeat, c.CueMeasure),
			fmt.Sprintf("a whole beat, 1 to %d", beats))
	case b.cueQuarter() >= -b.m.pickUp-snap && b.m.pickUp > 0:
		b.whole("cue", "the cue is within the pick-up", "put it earlier in the count-in")
	}
}

// cueQuarter returns the place of the cue in quarters.
func (b *builder) cueQuarter() float64 {
	c := b.m.spec.CountIn
	return float64(c.CueMeasure-1-c.Measures)*b.m.first.Quarters() + b.m.first.offset(c.CueBeat)
}

// layHolds cuts the segments at the holds and moves what follows.
func (b *builder) layHolds() {
	type placed struct {
		quarter float64
		index   int
	}
	var all []placed
	for i, h := range b.spec.Holds {
		q, err := b.m.Quarters(h.At)
		fault := Error{Change: -1, Hold: i, Measure: h.At.Measure, Field: "hold"}
		switch {
		case err != nil:
			fault.What = "hold: " + err.Error()
		case h.At.Measure < 0:
			fault.What = fmt.Sprintf("measure %d: a hold in the count-in", h.At.Measure)
		case !(h.Seconds > 0 && h.Seconds <= MaxHold):
			fault.What = fmt.Sprintf("measure %d: a hold of %.6g seconds", h.At.Measure, h.Seconds)
			fault.Hint = fmt.Sprintf("the extra seconds, more than 0 and at most %g", MaxHold)
		default:
			all = append(all, placed{q, i})
			continue
		}
		b.fail(fault)
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].quarter < all[j].quarter })
	for i, p := range all {
		h := b.spec.Holds[p.index]
		if i > 0 && all[i-1].quarter == p.quarter {
			b.fail(Error{Change: -1, Hold: p.index, Measure: h.At.Measure, Field: "hold",
				What: fmt.Sprintf("measure %d: two holds at one place", h.At.Measure), Hint: "add their seconds up"})
			continue
		}
		b.hold(p.quarter, h.Seconds)
	}
}

// hold makes what follows quarter come seconds later.
func (b *builder) hold(quarter, seconds float64) {
	segs := b.m.segments
	i := sort.Search(len(segs), func(i int) bool { return segs[i].quarter > quarter }) - 1
	i = max(i, 0)
	if s := segs[i]; s.quarter != quarter {
		r := quarter - s.quarter
		rest := segment{quarter: quarter, seconds: s.seconds + s.after(r), speed: s.speed + s.slope*r, slope: s.slope}
		segs = append(segs[:i+1], append([]segment{rest}, segs[i+1:]...)...)
		i++
	}
	segs[i].hold = seconds
	for j := i; j < len(segs); j++ {
		segs[j].seconds += seconds
	}
	b.m.segments = segs
}

// place moves the origin of the clock to the beginning and finds the cue.
func (b *builder) place() {
	b.m.begin = -float64(b.m.spec.CountIn.Measures) * b.m.first.Quarters()
	if b.m.spec.CountIn.Measures == 0 {
		b.m.begin = -b.m.pickUp
	}
	lead := 0.0
	if b.m.spec.CountIn.Measures > 0 {
		lead = b.m.spec.CountIn.Lead
	}
	zero := b.m.SecondsAt(b.m.begin) - lead
	for i := range b.m.segments {
		b.m.segments[i].seconds -= zero
	}
	// The first segment begins with the count-in, so that its first downbeat is
	// at exactly 0, or the lead, and not a rounding error away.
	b.m.segments[0].quarter, b.m.segments[0].seconds = b.m.begin, lead
	b.m.cue = math.NaN()
	if b.m.spec.CountIn.Measures > 0 {
		b.m.cue = b.m.SecondsAt(b.cueQuarter())
	}
}
