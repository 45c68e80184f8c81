package manifest

import (
	"path"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/production"
)

// What comes before the count-in, and what is heard or seen in it besides clicks.

// tuningRest is the silence between the last tuning note and the count-in, in seconds: time
// to lift an instrument (common practice, no source).
const tuningRest = 2

// tuningSeconds is how long a note is when nobody says (common practice, no source).
const tuningSeconds = 6

// tuning reads the tuning notes of guide:, which tempo needs: the count-in comes
// after them. lead is how many seconds they take together with the rest behind them,
// 0 without any. Faulty notes count as none: the guide is not made then.
func (m mapping) tuning() (notes []production.Tuning, lead float64) {
	v := m.vals["guide"]
	if v == nil || v.Kind != yaml.MappingNode {
		return nil, 0
	}
	quiet := &reader{file: m.file, dir: m.dir} // guide's own reader tells the faults
	for _, e := range quiet.mapping(v, guideShape).entries("tuning", tuningShape) {
		n := production.Tuning{Note: e.note(), Seconds: e.numberOr("seconds", tuningSeconds), Begins: lead,
			Mark: markOf(m.file, e.node)}
		notes = append(notes, n)
		lead += n.Seconds
	}
	if len(quiet.faults) > 0 || len(notes) == 0 {
		return nil, 0
	}
	return notes, lead + tuningRest
}

// checkTuning tells the faults of tuning notes.
func (m mapping) checkTuning(countIn bool) {
	for _, e := range m.entries("tuning", tuningShape) {
		note := e.note()
		e.number("seconds")
		if v := e.vals["note"]; v != nil && (note == "" || note == keyWord) && v.Kind == yaml.ScalarNode &&
			(v.Value == keyWord || v.Value == "none") {
			e.at(v, "for example A4", "%q is no tuning note", v.Value)
		}
	}
	if m.has("tuning") && !countIn {
		m.at(m.keys["tuning"], "give the count-in some measures",
			"tuning notes come before the count-in, and there is none")
	}
}

// spokenWord asks for numbers that a program speaks.
const spokenWord = "spoken"

// count reads who speaks the numbers of the count-in: recordings for the beats 1, 2, 3 and so
// on, or a program. beats is how many a measure of the count-in has, 0 when that is
// not known. A list may be longer: what is too much is not heard.
func (m mapping) count(beats int) *production.Count {
	v := m.vals["count"]
	if v == nil {
		return nil
	}
	c := &production.Count{Mark: markOf(m.file, v)}
	if v.Kind == yaml.ScalarNode && !isEmpty(v) {
		if c.Spoken = v.Value == spokenWord; !c.Spoken {
			m.at(v, "recordings such as count: [voice/1.wav, voice/2.wav], or count: spoken",
				"count must be a list of "+
					"recordings or the word spoken, not %q", clip(v.Value))
		}
		return c
	}
	list := m.list("count", "count: [voice/1.wav, voice/2.wav]")
	for _, n := range list {
		if n.Kind != yaml.ScalarNode || isEmpty(n) {
			m.at(n, "for example voice/1.wav", "a recording of count must be a file, not %s", describe(n))
			continue
		}
		name := strings.TrimSpace(n.Value)
		if what, hint := pathFault(name); what != "" {
			m.at(n, hint, "%s", what)
			continue
		}
		c.Files = append(c.Files, production.Asset{Path: path.Clean(name), Mark: markOf(m.file, n)})
	}
	if len(list) > 0 && len(list) < beats {
		m.at(v, "one for each beat, in order", "count has %d recordings, and a measure of the count-in %d beats",
			len(list),
			beats)
	}
	return c
}

// conductor reads the film of who conducts; nil for none. A clap can only be meant where
// the guide has a cue. release is the production's, which holds where the conductor
// has none of their own. cue tells whether the guide has one.
func (m mapping) conductor(release production.Release, cue bool) *production.Conductor {
	c, ok := m.child("conductor", conductorShape)
	if !ok {
		return nil
	}
	f := c.recordingAs("video", "conductor", conductorShape)
	if c.has("cue_at") && !cue {
		c.at(c.keys["cue_at"],
			"write offset, the guide time at the file's beginning, or give the count-in some measures",
			"without a count-in there is no clap")
	}
	return &production.Conductor{Video: *f, Release: c.release(release)}
}
