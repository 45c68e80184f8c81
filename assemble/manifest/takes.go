package manifest

import (
	"fmt"
	"ripieno/assemble/production"
	"ripieno/layout"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/mix/tempo"
)

// Bounds of what a person can mean.
const (
	minGainDB, maxGainDB = -60, 24 // below is mute, above is noise
	maxDriftPPM          = 1000    // ten times a bad sound card
	maxZoom              = 10      // beyond, a phone's picture is blocks
)

// sections reads the sections that are declared.
func (m mapping) sections() []production.Section {
	var all []production.Section
	used := newNames("section")
	for _, e := range m.entries("sections", sectionShape) {
		s := production.Section{Declared: true, Mark: markOf(m.file, e.node)}
		if e.need("name", "for example "+sectionShape.example) {
			s.Name = e.sectionName("name")
			used.add(e, "name", s.Name)
		}
		s.GainDB, _ = e.number("gain")
		s.TargetLUFS = e.optional("target")
		all = append(all, s)
	}
	return all
}

// sectionName reads the name of a section. It may have spaces and is no file's name
// by itself; what is written for a section is named by its slug.
func (m mapping) sectionName(key string) string {
	return m.textUpTo(key, "winds", production.MaxName, false)
}

// useSections adds the sections that takes name and nobody declared, in the
// order of takes. A name that is a slip away from a declared one is a fault,
// since it would split the section in two without a word.
func (m mapping) useSections(declared []production.Section, takes []production.Take,
	entries []mapping) []production.Section {
	all := declared
	known := map[string]string{} // folded name -> name
	for _, s := range declared {
		known[production.Fold(s.Name)] = s.Name
	}
	for i, t := range takes {
		node := entries[i].vals["section"]
		name, ok := known[production.Fold(t.Section)]
		switch {
		case t.Section == "" || name == t.Section:
			continue
		case ok:
			m.at(node, fmt.Sprintf("write %q everywhere", name), "section %q differs from %q only in capitals",
				t.Section, name)
			continue
		}
		if near := m.slipOf(t.Section, declared); near != "" {
			m.at(node, fmt.Sprintf("did you mean %q? else declare it under sections:", near), "unknown section %q",
				t.Section)
			takes[i].Section = near // so that shots of it are not faults as well
			continue
		}
		known[production.Fold(t.Section)] = t.Section
		all = append(all, production.Section{Name: t.Section, Mark: markOf(m.file, node)})
	}
	return all
}

// slipOf returns the declared section that a name was probably meant to be.
// Narrower than nearest: "violin 1" and "violin 2", or "alto a" and "alto b",
// are not slips of each other, so one letter too many, too few or swapped
// counts and another letter does not.
func (r *reader) slipOf(name string, declared []production.Section) string {
	a := production.Fold(name)
	for _, s := range declared {
		b := production.Fold(s.Name)
		if r.tries++; r.tries > maxTries {
			return ""
		}
		short := min(len([]rune(a)), len([]rune(b)))
		if short < 4 || strings.ContainsAny(a+b, "0123456789") || editDistance(a, b) != 1 {
			continue
		}
		if len([]rune(a)) != len([]rune(b)) || sortedRunes(a) == sortedRunes(b) {
			return s.Name
		}
	}
	return ""
}

// sortedRunes returns the characters of s in order, equal for s and its swaps.
func sortedRunes(s string) string {
	r := []rune(s)
	slices.Sort(r)
	return string(r)
}

// timing reads what becomes of a player's steady lateness.
func (m mapping) timing(def production.Timing) production.Timing { return choose(m, "timing", def) }

// takes reads the takes of a production, each with the mapping it came from. What
// the production says of timing and language is for those that say nothing else,
// and so is release.
func (m mapping) takes(p *production.Production, release production.Release) ([]production.Take, []mapping) {
	var all []production.Take
	used := newNames("take")
	entries := m.entries("takes", takeShape)
	for _, e := range entries {
		t := e.take(p.Tempo)
		t.Timing = e.timing(p.Timing)
		t.Language = e.choice("language", p.CallSheet.Language)
		t.Release = e.release(release)
		used.add(e, "name", t.Name)
		all = append(all, t)
	}
	return all, entries
}

// take reads one take. Its faults are independent of each other as far as
// possible, so that one slip gives one fault. A take of which nobody can say whether
// it is in, because expected has a fault, is not told to lack a recording.
func (m mapping) take(music *tempo.Map) production.Take {
	// Crop is the middle until AutoCrop has found the player.
	t := production.Take{Mark: markOf(m.file, m.node), Fit: production.Fits[0], Crop: production.Middle}
	if m.need("name", "for example name: oboe-1") {
		t.Name = m.name("name", "oboe-1")
	}
	t.Player = m.text("player", "Mara Voss")
	t.Part = m.text("part", "Oboe 1")
	t.Section = m.sectionName("section")
	t.Email = m.text("email", "mara@example.org")
	t.Video = m.recording("video", videoShape)
	t.Audio = m.recording("audio", audioShape)
	t.Guide = m.text("guide", "from-33")
	t.HideName = m.flag("hide_name", false)
	t.Verdict = choose(m, "verdict", production.Verdict(""))
	before := len(m.faults)
	t.Expected = m.flag("expected", false)
	unclear := len(m.faults) > before
	t.GainDB, _ = m.number("gain")
	t.Pan = m.pan()
	t.Mute = m.flag("mute", false)
	t.Strip = m.strip(music)
	t.TrimFrom, t.TrimTo = m.trim(music)
	t.Fit = choose(m, "fit", t.Fit)
	t.Behind, t.Backing = m.behind(t.Fit)
	t.Weight = 1
	if n, ok := m.whole("weight"); ok {
		t.Weight = n
	}
	t.Seat, _ = m.whole("seat")
	switch v := m.vals["crop"]; {
	case v == nil || isScalar(v) && v.Value == "auto":
		t.AutoCrop = true
	case isScalar(v) && v.Value == "middle": // as it stands
	default:
		if c, ok := m.child("crop", cropShape); ok {
			t.Crop = c.crop()
		}
	}
	switch {
	case unclear: // no telling what the take needs
	case t.Expected && (t.Video != nil || t.Audio != nil):
		m.at(m.keys["expected"], "delete expected now that the take is in, or the file until it is",
			"the take has a file and is expected all the same")
	case !t.Expected && t.Video == nil && t.Audio == nil:
		m.at(m.node, "add video: {file: ...} or audio: {file: ...}, or expected: true while the take is not in",
			"the take has no recording")
	}
	return t
}

// behind reads what stands round a picture that is fitted. Colour or "blur" as text,
// and the picture, of which one is set.
func (m mapping) behind(fit layout.Mode) (string, *production.Asset) {
	if !m.has("behind") {
		return "", nil
	}
	if fit != layout.Fit {
		m.at(m.keys["behind"], "add fit: fit, or delete behind", "nothing is seen behind a picture that fills its tile")
	}
	if v := m.vals["behind"]; v.Value == "blur" {
		return v.Value, nil
	}
	return m.ground("behind", "#203040")
}

// pan returns nil for auto and when it is absent.
func (m mapping) pan() *float64 {
	if v := m.vals["pan"]; v != nil && v.Value == "auto" {
		return nil
	}
	return m.optional("pan")
}

// trim reads the part of the film in which a take is seen and heard; nil for
// an end that is not given or not known after a fault in tempo.
func (m mapping) trim(music *tempo.Map) (from, to *production.Time) {
	c, ok := m.child("trim", trimShape)
	if !ok {
		return nil, nil
	}
	if t, ok := c.moment("from", music); ok {
		from = &t
	}
	if t, ok := c.moment("to", music); ok {
		to = &t
	}
	if from != nil && to != nil && !from.Before(*to) {
		c.at(c.vals["to"], "from must come before to", "the trim ends at %q, which is not after its beginning %q",
			to.Text, from.Text)
	}
	return from, to
}

// crop reads the focus of a picture. Zoom begins at 1: below, there would be
// something round the picture, which is what fit: fit is for.
func (m mapping) crop() production.Crop {
	c := production.Middle
	c.X = m.numberOr("x", c.X)
	c.Y = m.numberOr("y", c.Y)
	c.Zoom = m.numberOr("zoom", c.Zoom)
	return c
}

// recording reads one file of a take; nil when the key is absent. A recording that is
// written in a wrong form is an empty file and not nil: the take must not be told to
// have none as well.
func (m mapping) recording(key string, s *shape) *production.File {
	if v := m.vals[key]; v != nil && v.Kind == yaml.ScalarNode && !isEmpty(v) {
		m.at(v, fmt.Sprintf("write %s: {file: %s}", key, yamlText(clip(v.Value))), "%s must be a mapping, not %q", key,
			clip(v.Value))
		return &production.File{} // it was meant to be there
	}
	c, ok := m.child(key, s)
	if !ok {
		if m.has(key) {
			return &production.File{}
		}
		return nil
	}
	return c.recordingAs("file", key, s)
}

// recordingAs reads the keys of a recording, whose file is under one of them. name is what
// people call the mapping that holds them.
func (m mapping) recordingAs(file, name string, s *shape) *production.File {
	f := &production.File{Mark: markOf(m.file, m.node)}
	if m.need(file, "for example "+s.example) {
		f.Path = m.path(file, "intake/mara.mov")
	}
	// nil and zero are different: a written 0 overrides what sync measures.
	f.Offset = m.optional("offset")
	f.CueAt, _ = m.fileTime("cue_at")
	if m.has("offset") && m.has("cue_at") {
		m.at(m.keys["cue_at"], "keep the one you trust; either overrides what sync measures",
			"%s has both offset and cue_at", name)
	}
	f.DriftPPM = m.optional("drift_ppm")
	if v := m.choice("rotate", ""); v != "" {
		degrees, _ := strconv.Atoi(v) // one of the four
		f.Rotate = &degrees
	}
	f.Colour = choose[production.Colour](m, "colour", "")
	f.Range = choose[production.Range](m, "range", "")
	f.Track, _ = m.whole("track")
	f.Parts = m.parts()
	f.PartsOfSound = m.choice("parts_of", "file") == "sound"
	if v := m.choice("sample_rate", ""); v != "" {
		f.SampleRate, _ = strconv.Atoi(v)
	}
	return f
}

// maxTrack is the highest number of a sound track: files of more streams are
// refused.
const maxTrack = 16
