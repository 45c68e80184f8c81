package manifest

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/mix/tempo"
)

// MadeName is the name of the record of guides in a production's folder. It
// stands beside the manifest, since what was sent to players stays sent when the
// outputs or the store are removed.
const MadeName = "guide.yaml"

// Bounds of the record: how many different guides of one name it keeps, and how
// long the file may be.
const (
	keptGuides = 8
	maxMade    = 2 << 20
)

// Made is guide.yaml: which guides `click` has written, the newest first. It is
// written by the program alone, decides nothing about a film and may be deleted
// at any time; then nobody can tell any more whether the manifest has changed
// since a guide was made.
type Made struct{ Guides []MadeGuide }

// MadeGuide is the time of one guide as it was written.
type MadeGuide struct {
	Guide    string     // the name of its files without an ending: guide, or guide-NAME
	From, To int        // the first and the last measure of a guide of a part; 0, 0 for the whole piece
	Spec     tempo.Spec // of its own tempo map
	Score    string     // SHA-256 of the score's file; "" when the manifest wrote the tempo itself
}

// These records have no meanings or defaults: no person writes them. Their ranges are
// checked since a file may be damaged.
var (
	madeShape = &shape{name: "the file", example: "version: 1", keys: []key{
		{name: "version"}, {name: "guides"}, {name: "complete"}}}
	madeOneShape = &shape{name: "a guide", example: "{guide: guide}", keys: []key{
		{name: "guide"}, {name: "from", value: whole(1, tempo.MaxMeasures, "")},
		{name: "to", value: whole(1, tempo.MaxMeasures, "")},
		{name: "count_in"}, {name: "count_in_speed", value: number(tempo.MinBPM, tempo.MaxBPM, "")},
		{name: "lead", value: number(0, tempo.MaxLead, "seconds")}, {name: "pick_up", value: number(0, 64, "beats")},
		{name: "measures", value: whole(1, tempo.MaxMeasures, "")},
		{name: "changes"}, {name: "holds"}, {name: "score"}}}
	madeStepShape = &shape{name: "a tempo change", example: "{measure: 1, meter: 4/4, bpm: 96}", keys: []key{
		{name: "measure", value: whole(0, tempo.MaxMeasures, "")}, {name: "at", value: number(1, 1000, "")},
		{name: "meter"}, {name: "beat"},
		{name: "bpm", value: number(tempo.MinBPM, tempo.MaxBPM, "")},
		{name: "ramp_to", value: number(tempo.MinBPM, tempo.MaxBPM, "")},
		{name: "until", value: whole(1, tempo.MaxMeasures+1, "")}, {name: "until_beat", value: number(1, 1000, "")}}}
	madeHoldShape = &shape{name: "a hold", example: "{measure: 12, beat: 3, seconds: 1.5}", keys: []key{
		{name: "measure", value: whole(0, tempo.MaxMeasures+1, "")}, {name: "beat", value: number(1, 1000, "")},
		{name: "seconds", value: number(0, tempo.MaxHold, "")}}}
)

// Add puts a guide before all others. One that was made before moves there; of
// one name the oldest beyond keptGuides are forgotten. The list as a whole grows by
// new names only; of names there are few, and Encode bounds the bytes.
func (m *Made) Add(g MadeGuide) {
	text := g.text()
	list := []MadeGuide{g}
	same := 1
	for _, old := range m.Guides {
		if old.Guide == g.Guide {
			if old.text() == text {
				continue
			}
			if same++; same > keptGuides {
				continue
			}
		}
		list = append(list, old)
	}
	m.Guides = list
}

// Of returns the guides of one name, the newest first.
func (m *Made) Of(guide string) []MadeGuide {
	return slices.DeleteFunc(slices.Clone(m.Guides), func(g MadeGuide) bool { return g.Guide != guide })
}

// LoadMade reads the record of the production in dir. A missing file is an empty
// record and no error.
func LoadMade(dir string) (*Made, error) {
	return loadRecord(filepath.Join(dir, MadeName), "the record of guides", maxMade, ParseMade)
}

// ParseMade reads the bytes of a guide.yaml that was read from path. A file that
// is not as Encode writes it is a fault of kind Manifest, which says to delete it.
func ParseMade(path string, data []byte) (*Made, error) {
	r := &reader{file: path}
	r.hint = fmt.Sprintf("delete %s and run `ripieno click` with the tempo that players got", filepath.Base(path))
	m, err := r.record(data, maxMade, madeShape, "guides")
	if err != nil {
		return nil, err
	}
	made := &Made{}
	for _, e := range m.entries("guides", madeOneShape) {
		made.Guides = append(made.Guides, e.madeGuide())
	}
	if err := r.first(); err != nil {
		return nil, err
	}
	return made, nil
}

// madeGuide reads one guide of the record.
func (m mapping) madeGuide() MadeGuide {
	var g MadeGuide
	before := len(m.faults)
	for _, key := range []string{"guide", "count_in", "measures", "changes"} {
		m.need(key, "")
	}
	g.Guide, g.Score = m.raw("guide"), m.raw("score")
	g.From, _ = m.whole("from")
	g.To, _ = m.whole("to")
	s := &g.Spec
	s.CountIn = m.countIn()
	s.CountIn.Speed, _ = m.number("count_in_speed")
	s.CountIn.Lead, _ = m.number("lead")
	s.PickUp, _ = m.number("pick_up")
	s.Measures, _ = m.whole("measures")
	for _, c := range m.entries("changes", madeStepShape) {
		s.Changes = append(s.Changes, c.madeStep())
	}
	for _, h := range m.entries("holds", madeHoldShape) {
		var hold tempo.Hold
		hold.At.Measure, _ = h.whole("measure")
		hold.At.Beat, _ = h.number("beat")
		hold.Seconds, _ = h.number("seconds")
		s.Holds = append(s.Holds, hold)
	}
	if len(m.faults) == before {
		if _, err := tempo.New(*s); err != nil {
			m.because(m.node, err, m.hint, "this is no guide: %v", err)
		}
	}
	return g
}

// madeStep reads one change of tempo or meter of a guide of the record. Zero values
// are what is not written, as in [tempo.Change] itself.
func (m mapping) madeStep() tempo.Change {
	var c tempo.Change
	m.need("measure", "")
	c.Measure, _ = m.whole("measure")
	c.At, _ = m.number("at")
	c.Meter = m.meter("")
	if v, ok := m.scalar("beat", ""); ok {
		if n, err := fmt.Sscanf(v.Value, "%d/%d", &c.Beat.Num, &c.Beat.Den); n != 2 || err != nil {
			m.at(v, "", "beat %q is no note value", clip(v.Value))
		}
	}
	c.BPM, _ = m.number("bpm")
	c.RampTo, _ = m.number("ramp_to")
	c.Until, _ = m.whole("until")
	c.UntilBeat, _ = m.number("until_beat")
	return c
}

// Encode returns the file's bytes. Of a record that would be too long the oldest
// guides are left out.
func (m *Made) Encode() []byte {
	var b strings.Builder
	b.WriteString("# Written by `ripieno click`: the tempo of every guide it made, the newest first.\n" +
		"# sync, check and report compare production.yaml with it. No film depends on it.\n" +
		"version: 1\nguides:")
	if len(m.Guides) == 0 {
		b.WriteString(" []")
	}
	b.WriteString("\n")
	const last = "complete: true\n"
	for _, g := range m.Guides {
		text := g.text()
		// ParseMade would refuse a longer one, and with it every guide.
		if b.Len()+len(text)+len(last) > maxMade {
			break
		}
		b.WriteString(text)
	}
	return []byte(b.String() + last)
}

// text returns a guide as the record has it. Two guides with the same text are the
// same.
func (g MadeGuide) text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "  - guide: %s\n", yamlText(g.Guide))
	if g.To > 0 {
		fmt.Fprintf(&b, "    from: %d\n    to: %d\n", g.From, g.To)
	}
	in := g.Spec.CountIn
	fmt.Fprintf(&b, "    count_in: {measures: %d", in.Measures)
	if in.CueMeasure > 0 {
		fmt.Fprintf(&b, ", cue: {measure: %d, beat: %s}", in.CueMeasure, decimal(in.CueBeat))
	}
	b.WriteString("}\n")
	if in.Speed > 0 {
		fmt.Fprintf(&b, "    count_in_speed: %s\n", decimal(in.Speed))
	}
	if in.Lead > 0 {
		fmt.Fprintf(&b, "    lead: %s\n", decimal(in.Lead))
	}
	if g.Spec.PickUp > 0 {
		fmt.Fprintf(&b, "    pick_up: %s\n", decimal(g.Spec.PickUp))
	}
	fmt.Fprintf(&b, "    measures: %d\n    changes:\n", g.Spec.Measures)
	for _, c := range g.Spec.Changes {
		fmt.Fprintf(&b, "      - {measure: %d%s}\n", c.Measure, stepText(c))
	}
	if len(g.Spec.Holds) > 0 {
		b.WriteString("    holds:\n")
	}
	for _, h := range g.Spec.Holds {
		fmt.Fprintf(&b, "      - {measure: %d, beat: %s, seconds: %s}\n", h.At.Measure, decimal(h.At.Beat),
			decimal(h.Seconds))
	}
	if g.Score != "" {
		fmt.Fprintf(&b, "    score: %s\n", yamlText(g.Score))
	}
	return b.String()
}

// stepText returns what a change says besides its measure.
func stepText(c tempo.Change) string {
	var b strings.Builder
	if !c.Meter.IsZero() {
		fmt.Fprintf(&b, ", meter: %s", c.Meter)
	}
	if !c.Beat.IsZero() {
		fmt.Fprintf(&b, ", beat: %d/%d", c.Beat.Num, c.Beat.Den)
	}
	for _, v := range []struct {
		key string
		x   float64
	}{{"at", c.At}, {"bpm", c.BPM}, {"ramp_to", c.RampTo}, {"until", float64(c.Until)}, {"until_beat", c.UntilBeat}} {
		if v.x != 0 {
			fmt.Fprintf(&b, ", %s: %s", v.key, decimal(v.x))
		}
	}
	return b.String()
}
