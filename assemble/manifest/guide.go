package manifest

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"ripieno/assemble/production"
	"ripieno/mix/click"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// Bounds and defaults of the guide.
const (
	defaultPitchHz = 440 // ISO 16
	// defaultTail is time to let the last note ring before anybody moves
	// (common practice, no source).
	defaultTail = 4
	maxTail     = 60
	maxLevelDB  = 12 // the guide itself refuses what would be too loud
	// maxVariants is one for each player of a large ensemble; each has a
	// tempo map of its own, which a hostile file could multiply.
	maxVariants = 200
)

// guide reads what sounds besides the clicks. release is that of the production.
// music is nil after a fault in tempo, paper without a score.
func (m mapping) guide(music *tempo.Map, paper *score.Score, release production.Release) production.Guide {
	g := production.Guide{PitchHz: defaultPitchHz, Tail: defaultTail}
	g.LevelsMark = markOf(m.file, m.node)
	c, ok := m.child("guide", guideShape)
	if !ok {
		return g
	}
	g.PitchHz = c.numberOr("pitch", g.PitchHz)
	g.Tail = c.numberOr("tail", g.Tail)
	g.GuideSound = c.guideSound(g.GuideSound)
	g.Drone = c.drones(music, paper)
	g.Variants = c.variants(g.GuideSound, music)
	c.checkTuning(music == nil || music.Spec().CountIn.Measures > 0)
	g.Tuning, _ = m.tuning()
	beats := 0
	if music != nil && music.Spec().CountIn.Measures > 0 {
		beats = music.Meter(1).Beats()
	}
	g.Count = c.count(beats)
	g.Conductor = c.conductor(release, beats > 0)
	return g
}

// guideSound reads what a guide sounds like; what is not written is as in def. def is
// that of the guide of all; variants write only what is different.
func (m mapping) guideSound(def production.GuideSound) production.GuideSound {
	s := def
	s.LevelsMark = markOf(m.file, m.node)
	if c, ok := m.child("levels", levelsShape); ok {
		s.LevelsMark = markOf(m.file, c.node)
		c.guideLevel("click", &s.ClickDB)
		c.guideLevel("drone", &s.DroneDB)
		c.guideLevel("mix", &s.MixDB)
	}
	if v := m.vals["subdivisions"]; v != nil && v.Value == "written" {
		s.Subdivisions = click.Written
	} else if n, ok := m.whole("subdivisions"); ok {
		s.Subdivisions = n
	}
	s.CountTones = m.flag("count_tones", def.CountTones)
	return s
}

// guideLevel reads decibels or off. off is -Inf dB. A faulty value leaves what stands
// in to.
func (m mapping) guideLevel(key string, to *float64) {
	if v := m.vals[key]; v != nil && v.Value == "off" {
		*to = math.Inf(-1)
		return
	}
	if x, ok := m.number(key); ok {
		*to = x
	}
}

// drones reads the tones to tune to, in order of time. Each sounds until the next. A
// second one at the same place is a fault, since one of them would never be heard.
func (m mapping) drones(music *tempo.Map, paper *score.Score) []production.Drone {
	var all []production.Drone
	seen := map[string]int{} // place -> line
	for _, e := range m.entries("drone", droneShape) {
		d := production.Drone{Mark: markOf(m.file, e.node), Note: e.note()}
		// true and just mean 3:2, equal the tempered fifth of 700 cents.
		switch e.choice("fifth", "false") {
		case "true", "just":
			d.Fifth = true
		case "equal":
			d.Fifth, d.EqualFifth = true, true
		case "octave":
			d.Octave = true
		}
		// No note and a fifth is a contradiction that would pass in silence.
		if d.Note == "" && (d.Fifth || d.Octave) {
			e.at(e.vals["fifth"], "leave fifth out", "a drone with note: none cannot have a fifth")
		}
		at, ok := e.dronePlace(music)
		if !ok {
			continue
		}
		v := e.vals["measure"]
		if line := seen[at.Text]; line > 0 {
			what := "measure " + strings.TrimPrefix(at.Text, "m")
			if at.Text == countInWord {
				what = "the count-in"
			}
			e.at(v, fmt.Sprintf("the first is on line %d; keep one of them", line), "a second drone begins at %s", what)
			continue
		}
		seen[at.Text] = v.Line
		d.From, d.CountIn = at, at.Text == countInWord
		if music != nil {
			all = append(all, d)
		}
	}
	slices.SortStableFunc(all, func(a, b production.Drone) int { return cmp.Compare(a.From.Seconds, b.From.Seconds) })
	return m.inKeys(all, music, paper)
}

// countInWord is the place of a drone that begins with the guide.
const countInWord = "count-in"

// dronePlace reads where a drone begins: a measure or the count-in. at.Text is the
// place as the program writes it, and tells two drones at one place apart from two
// that only sound alike.
func (m mapping) dronePlace(music *tempo.Map) (production.Time, bool) {
	if !m.need("measure", "for example "+droneShape.example) {
		return production.Time{}, false
	}
	v := m.vals["measure"]
	at := production.Time{Mark: markOf(m.file, v)}
	if v.Value == countInWord {
		at.Text = countInWord // guide time 0, or behind the tuning notes
		if music != nil {
			at.Seconds = music.Spec().CountIn.Lead
		}
		return at, true
	}
	n, ok := m.whole("measure")
	if !ok {
		return at, false
	}
	at.Text = fmt.Sprintf("m%d", n)
	if music == nil { // a second drone at one measure is a fault all the same
		return at, true
	}
	return m.place(at, tempo.Position{Measure: n, Beat: 1}, v, music)
}

// variants reads the guides of some players' own. def is the sound of the guide of
// all.
func (m mapping) variants(def production.GuideSound, music *tempo.Map) []production.Variant {
	var all []production.Variant
	used := newNames("variant")
	entries := m.entries("variants", variantShape)
	if len(entries) > maxVariants {
		m.at(m.keys["variants"], fmt.Sprintf("at most %d", maxVariants), "the guide has %d variants", len(entries))
		return nil
	}
	for _, e := range entries {
		v := production.Variant{Mark: markOf(m.file, e.node), GuideSound: e.guideSound(def), Tempo: music}
		if e.need("name", "for example "+variantShape.example) {
			v.Name = e.name("name", "from-33")
			used.add(e, "name", v.Name)
		}
		v.With = choose[production.With](e, "with", "")
		if e.has("from") || e.has("to") {
			e.excerpt(&v, music)
		}
		all = append(all, v)
	}
	return all
}

// excerpt reads which measures a variant plays and makes its tempo map. to is the
// first measure that is not played any more, as everywhere in the manifest.
func (m mapping) excerpt(v *production.Variant, music *tempo.Map) {
	v.From = 1
	before := len(m.faults)
	if n, ok := m.measure("from", music); ok {
		v.From = n
	}
	to, hasTo := m.measure("to", music)
	if music == nil || len(m.faults) > before {
		return
	}
	last := music.Measures()
	if !hasTo {
		to = last + 1
	}
	switch {
	case v.From < 1:
		m.at(m.vals["from"], "the pick-up comes with m1", "a guide cannot begin at m%d", v.From)
	case v.From > last:
		m.at(m.vals["from"], fmt.Sprintf("the last measure is m%d", last), "measure %d is not in the piece", v.From)
	case to > last+1:
		m.at(m.vals["to"], fmt.Sprintf("m%d is the end of the piece", last+1), "measure %d is not in the piece", to)
	case to <= v.From:
		m.at(m.vals["to"], "from must come before to", "the guide ends at m%d, which is not after its beginning m%d",
			to, v.From)
	default:
		m.cut(v, to, music)
	}
}

// cut makes the tempo map of the measures from v.From until to. v.Shift is how many
// seconds later than in the variant's own time its first measure lies in that of the
// piece.
func (m mapping) cut(v *production.Variant, to int, music *tempo.Map) {
	cut := music.Excerpt // which keeps the numbers on the page, where those are others
	if len(music.Spec().Paper) == 0 {
		cut = music.InOrder
	}
	spec, err := cut(tempo.Span{From: v.From, To: to - 1})
	if err == nil {
		v.Tempo, err = tempo.New(spec)
	}
	var here, there float64
	if err == nil {
		here, err = v.Tempo.Seconds(tempo.Position{Measure: 1, Beat: 1})
	}
	if err == nil {
		there, err = music.Seconds(tempo.Position{Measure: v.From, Beat: 1})
	}
	if err != nil {
		m.because(m.node, err, "begin or end it at another measure", "this part of the piece cannot be cut out")
		return
	}
	if v.Tempo.End() > MaxGuide { // its count-in may be slower than that of the piece
		m.at(m.node, "begin it at another measure",
			"this guide would last %.1f hours, at most %d are possible", v.Tempo.End()/3600, MaxGuide/3600)
	}
	v.To, v.Shift = to, there-here
}

// measure reads m33 or m17/2, where a guide may begin or end.
func (m mapping) measure(key string, music *tempo.Map) (int, bool) {
	v, ok := m.scalar(key, "m33")
	if !ok {
		return 0, false
	}
	p, ok := musical(v.Value)
	if !ok || p.Beat != 1 {
		hint := "a measure, for example m33"
		if _, err := strconv.Atoi(v.Value); err == nil {
			hint = fmt.Sprintf("did you mean m%s?", v.Value)
		}
		m.at(v, hint, "%s %q is not the beginning of a measure", key, clip(v.Value))
		return 0, false
	}
	if music == nil {
		return p.Measure, true
	}
	at, err := p.played(music)
	if err != nil {
		m.at(v, "ripieno click lists all measures as played, with their numbers on the page", "%v", err)
		return 0, false
	}
	return at.Measure, true
}

// useGuides checks the guides that takes name. A take that was recorded to a
// part of the piece is heard and seen there only, unless it has a trim. A take
// trimmed by its guide keeps the text of the trim as a person would have written it,
// so that messages can name it. A guide that goes to the end of the piece leaves the
// end of the take open: the last note may ring.
func (m mapping) useGuides(g *production.Guide, takes []production.Take, entries []mapping, music *tempo.Map) {
	var known []string
	for _, v := range g.Variants {
		known = append(known, v.Name)
	}
	for i := range takes {
		t := &takes[i]
		if t.Guide == "" {
			continue
		}
		v := g.Variant(t.Guide)
		if v == nil {
			hint := "declare it under guide: variants:"
			if near := m.nearest(t.Guide, known); near != "" {
				hint = fmt.Sprintf("did you mean %q?", near)
			}
			m.at(entries[i].vals["guide"], hint, "no variant of the guide is named %q", clip(t.Guide))
			continue
		}
		if v.To == 0 {
			continue
		}
		if t.TrimFrom == nil {
			t.TrimFrom = &production.Time{Text: fmt.Sprintf("m%d", v.From), Seconds: v.Tempo.Start() + v.Shift,
				Mark: t.Mark}
		}
		if t.TrimTo == nil && v.To <= music.Measures() {
			t.TrimTo = &production.Time{Text: fmt.Sprintf("m%d", v.To), Seconds: v.Tempo.End() + v.Shift, Mark: t.Mark}
		}
	}
}

// noteForm is a letter, an accidental and an octave, C4 being middle C.
var noteForm = pattern(`^[A-G](#|b)?[0-8]$`)

// note reads the pitch of a drone; "" for none.
func (m mapping) note() string {
	m.need("note", "for example note: D3, or note: none for silence")
	v, ok := m.scalar("note", "D3")
	if !ok || v.Value == "none" {
		return ""
	}
	if v.Value == keyWord {
		return keyWord
	}
	if noteForm().MatchString(v.Value) {
		return v.Value
	}
	hint := "a letter and an octave: D3, F#2, Bb3; key for that of the score; none for silence"
	s := strings.NewReplacer("♯", "#", "♭", "b", " ", "").Replace(v.Value)
	if s != "" {
		// "d3", "D 3" and "D" are what people write.
		if s = strings.ToUpper(s[:1]) + s[1:]; noteForm().MatchString(s) {
			hint = fmt.Sprintf("did you mean %q?", s)
		} else if noteForm().MatchString(s + "3") {
			hint = fmt.Sprintf("the octave is missing; did you mean %q?", s+"3")
		}
	}
	m.at(v, hint, "%q is not a note", clip(v.Value))
	return ""
}
