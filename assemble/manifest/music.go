package manifest

import (
	"cmp"
	"slices"
	"strconv"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/production"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// defaultCountIn is the count-in when the manifest says nothing: eight
// measures (common practice for quick pieces, no source). A wrong guess here
// is heard at once, in the guide.
const defaultCountIn = 8

// tempo reads the tempo map, and the score when it comes from one. The map is
// nil after any fault, since half a map would only give faults that are not
// there. The count-in comes after lead seconds. The beats are those that it was made from, nil when tempos are written.
func (m mapping) tempo(lead float64) (*tempo.Map, *score.Score, *production.Beats) {
	before := len(m.faults)
	in := tempo.CountIn{Measures: defaultCountIn}
	if m.has("count_in") {
		in = m.countIn()
	}
	if in.Measures > 0 {
		in.Lead = lead
	}
	var spec tempo.Spec
	var changes []mapping
	beats := m.beats()
	paper, scored := m.score()
	if scored {
		paper, spec = m.fromScore(paper, in)
	} else {
		spec, changes = m.readSpec()
		spec.CountIn = in
		if m.choice("interpret", "no") == "yes" {
			m.at(m.keys["interpret"], "leave it out: without a score, changes and holds say everything",
				"tempo has interpret and no score")
		}
	}
	holds := m.entries("holds", holdShape)
	spec.Holds = m.holds(spec, holds)
	if beats != nil {
		spec = m.withoutTempo(beats, spec, changes)
	}
	// Faults of the keys come before those of the map that they would make.
	if len(m.faults) > before {
		return nil, nil, nil
	}
	music, err := tempo.New(spec)
	if err != nil {
		m.tempoFaults(err, changes, holds)
		return nil, nil, nil
	}
	// A score has its own repeats; an order beside it is a fault of its keys.
	if !scored {
		music = m.order(music)
	}
	if music != nil && beats != nil {
		music = m.onBeats(beats, music)
	}
	if music == nil || m.ask == nil && m.refuseLong(music) {
		return nil, nil, nil
	}
	if beats == nil {
		return music, paper, nil
	}
	return music, paper, &beats.Beats
}

// holds returns the holds of the manifest, and those of the score in other measures:
// what a person writes stands for all that a score asks in that measure.
func (m mapping) holds(spec tempo.Spec, entries []mapping) []tempo.Hold {
	var own []tempo.Hold
	for _, e := range entries {
		own = append(own, e.hold(spec))
	}
	kept := slices.DeleteFunc(slices.Clone(spec.Holds), func(h tempo.Hold) bool {
		return slices.ContainsFunc(own, func(o tempo.Hold) bool { return o.At.Measure == h.At.Measure })
	})
	return append(own, kept...)
}

// MaxGuide bounds a guide from its first sample to the end of the last measure,
// in seconds: what a recording may last, far above any music, so that a slip in
// a tempo fills neither memory nor disk.
const MaxGuide = 4 * 3600

// refuseLong refuses a guide that is longer than MaxGuide, where its length is
// written, and reports whether it did.
func (m mapping) refuseLong(music *tempo.Map) bool {
	end := music.End()
	if end <= MaxGuide {
		return false
	}
	at := m.node
	for _, key := range []string{"score", "from", "measures"} {
		if v := m.vals[key]; v != nil {
			at = v
			break
		}
	}
	m.at(at, "check measures, meter and bpm; every beat has to be heard by somebody",
		"the guide would last %.1f hours, at most %d are possible", end/3600, MaxGuide/3600)
	return true
}

// readSpec reads the tempo map from the manifest itself.
func (m mapping) readSpec() (spec tempo.Spec, changes []mapping) {
	spec.PickUp, _ = m.number("pick_up")
	if !m.has("from") { // else as many as there are beats for
		m.need("measures", "how many measures the piece has, for example measures: 32")
	} else if m.has("order") {
		m.need("measures", "how many measures the page has, for example measures: 32, since order counts them")
	}
	spec.Measures, _ = m.whole("measures")
	m.need("changes", "for example changes: ["+changeShape.example+"], or score: round.musicxml")
	changes = m.entries("changes", changeShape)
	if v := m.vals["changes"]; v != nil && v.Kind == yaml.SequenceNode && len(v.Content) == 0 {
		m.at(v, "for example changes: ["+changeShape.example+"]", "changes has no entries")
	}
	for _, c := range changes {
		spec.Changes = append(spec.Changes, c.change())
	}
	return spec, changes
}

// tempoFaults gives the errors of the tempo map their places in the file.
func (m mapping) tempoFaults(err error, changes, holds []mapping) {
	before := len(m.faults)
	for _, e := range tempo.Errors(err) {
		in := m
		switch {
		case e.Change >= 0 && e.Change < len(changes):
			in = changes[e.Change]
		case e.Hold >= 0 && e.Hold < len(holds):
			in = holds[e.Hold]
		case e.Field == "cue":
			if v := m.vals["count_in"]; v != nil && v.Kind == yaml.MappingNode {
				in = m.mapping(v, countInShape) // read without faults before
			}
		}
		field := e.Field
		if in.shape == holdShape && field == "hold" {
			field = "at"
		}
		place := in.node
		if v := m.vals["score"]; v != nil && e.Change >= 0 {
			place = v // the change is the score's
		} else if v := in.vals[field]; v != nil {
			place = v
		}
		m.at(place, cmp.Or(e.Hint, tempoHints[e.Field]), "%s", e.What)
	}
	if len(m.faults) == before { // an error of another kind
		m.at(m.node, "make sure that the measures and tempos fit together", "%v", err)
	}
}

// tempoHints are for the errors of the tempo map that bring none.
var tempoHints = map[string]string{
	"measure": "measures: in tempo: says how long the piece is",
	"until":   "measures: in tempo: says how long the piece is",
	"cue":     "the first measure of the count-in's second half is common: measure 5 of 8, 3 of 4",
	"hold":    "a measure of the piece and a beat of its meter, for example m12.3",
	"meter":   "put the change on the first beat of a measure",
}

// countIn reads the count-in. A cue that is not given is left at zero, which
// the tempo map takes as the usual place; a cue that is given has to name its
// measure, since half a place would be a guess that nobody sees.
func (m mapping) countIn() tempo.CountIn {
	c, ok := m.child("count_in", countInShape)
	if !ok {
		return tempo.CountIn{}
	}
	var in tempo.CountIn
	c.need("measures", "0 for no count-in")
	in.Measures, _ = c.whole("measures")
	cue, ok := c.child("cue", cueShape)
	if !ok {
		return in
	}
	cue.need("measure", "for example "+cueShape.example)
	in.CueMeasure, _ = cue.whole("measure")
	in.CueBeat = 1
	if n, ok := cue.whole("beat"); ok {
		in.CueBeat = float64(n)
	}
	return in
}

// change reads one tempo change. What it does not say keeps its zero, which
// the tempo map takes as "as before"; whether it says enough, and whether it
// fits its neighbours, is for the map to judge.
func (m mapping) change() tempo.Change {
	var c tempo.Change
	if m.need("measure", "for example "+changeShape.example) {
		c.Measure, _ = m.whole("measure")
	}
	c.Meter = m.meter("for example 4/4, 2/2, 6/8 or 3+2/8")
	if v, ok := m.scalar("beat", "quarter"); ok {
		unit, err := tempo.ParseUnit(v.Value)
		if err != nil {
			m.at(v, "for example quarter, half, eighth, dotted-quarter", "%v", err)
		}
		c.Beat = unit
	}
	c.BPM, _ = m.number("bpm")
	c.RampTo, _ = m.number("ramp_to")
	c.Until, _ = m.whole("until")
	return c
}

// hold reads a fermata. Its place can be musical only: guide time is what the
// holds are about to change.
func (m mapping) hold(spec tempo.Spec) tempo.Hold {
	var h tempo.Hold
	m.need("at", "for example "+holdShape.example)
	if v, ok := m.scalar("at", "m12.3"); ok {
		p, ok := musical(v.Value)
		if !ok {
			m.at(v, "a measure (m12) or a beat in it (m12.3)", "at %q is not a place in the piece", clip(v.Value))
		}
		if h.At = p.Position; ok && p.pass > 0 {
			at := slices.Index(spec.Paper, tempo.Place{Number: strconv.Itoa(p.Measure), Pass: p.pass})
			if at < 0 {
				m.at(v, "ripieno click lists all measures as played, with their numbers on the page",
					"measure %d is not played %d times", p.Measure, p.pass)
			}
			h.At.Measure = at + 1
		}
	}
	m.need("seconds", "how long the music waits, for example seconds: 1.5")
	h.Seconds, _ = m.number("seconds")
	return h
}

// meter reads a meter; the zero one, which means "as before", when it is absent or
// faulty.
func (m mapping) meter(hint string) tempo.Meter {
	v, ok := m.scalar("meter", "4/4")
	if !ok {
		return tempo.Meter{}
	}
	meter, err := tempo.ParseMeter(v.Value)
	if err != nil {
		m.at(v, hint, "%v", err)
	}
	return meter
}
