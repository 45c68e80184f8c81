package manifest

import (
	"fmt"

	"ripieno/assemble/production"
	"ripieno/mix"
	"ripieno/mix/pan"
	"ripieno/mix/tempo"
)

// defaultHall is the one that package room takes for zeros, written out, so
// that a manifest can say 0 where it means it.
var defaultHall = production.Hall{Decay: 1.8, High: 0.55, PreDelay: 0.018, Size: 1}

// allClean is everything that can be done, and the default of ensembles of up to
// mostReduced takes.
var allClean = production.Clean{Silence: true, Noise: true, Tone: true, Hum: true, Tops: true}

// mostReduced is how many takes a production may list whose noise is reduced without
// being asked for. Held against the mix of their dry stems, reducing it brought ensembles
// of 9 and 12 nearer by half a decibel of spectral distance and took three of 50 farther
// off by as much: there the others cover it, and what the reduction takes from the
// colour of each adds up. Between 12 and 50 nothing was measured. Takes that are still
// expected count, so that a late take does not change the sound of the others.
const mostReduced = 24

// defaultClean returns what is done in an ensemble that the manifest says nothing about.
func defaultClean(takes int) production.Clean {
	all := allClean
	all.Noise = takes <= mostReduced
	return all
}

// Bounds of what a person can mean; the mix itself takes more.
const (
	minHz, maxHz  = 10, 20000
	maxDelay      = 10  // seconds; more is a wrong offset
	maxLift       = 12  // dB; more is a mix for one
	maxFade       = 60  // seconds
	maxLowCut     = 500 // hertz; beyond it, a part loses its body
	maxBands      = 16
	maxMutes      = 1000
	maxShelfDB    = 24
	maxDenoiseDB  = 20
	maxSendDB     = 20
	maxCompressDB = 40
)

// strip reads what a take says about its sound.
func (m mapping) strip(music *tempo.Map) production.Strip {
	var s production.Strip
	mutes := m.entries("mutes", muteShape)
	if len(mutes) > maxMutes {
		m.at(m.keys["mutes"], fmt.Sprintf("at most %d", maxMutes), "%d mutes", len(mutes))
	}
	for _, e := range mutes {
		if x, ok := e.mute(music); ok {
			s.Mutes = append(s.Mutes, x)
		}
	}
	s.LowCutHz = m.lowCut()
	bands := m.entries("eq", bandShape)
	if len(bands) > maxBands {
		m.at(m.keys["eq"], fmt.Sprintf("at most %d", maxBands), "%d bands", len(bands))
	}
	for _, e := range bands {
		s.EQ = append(s.EQ, e.band())
	}
	if c, ok := m.child("compress", compressShape); ok {
		s.Compress = c.compress()
	}
	s.DenoiseDB, _ = m.number("denoise")
	s.Width = m.optional("width")
	s.Delay, _ = m.number("delay")
	if v := m.vals["send"]; v != nil && v.Value == "none" {
		s.Dry = true
	} else {
		s.SendDB, _ = m.number("send")
	}
	return s
}

// clean reads what is done to takes by themselves; what is not written stays as
// in def, and the word auto gives auto.
func (m mapping) clean(def, auto production.Clean) production.Clean {
	if v := m.vals["clean"]; v != nil && isScalar(v) && !isQuoted(v) {
		switch v.Value {
		case "auto":
			return auto
		case "off":
			return production.Clean{}
		}
	}
	if v := m.vals["clean"]; v != nil && isScalar(v) && !isEmpty(v) {
		m.at(v, "write off, auto, or "+cleanShape.example, "unknown clean %q", clip(v.Value))
		return def
	}
	c, ok := m.child("clean", cleanShape)
	if !ok {
		return def
	}
	return production.Clean{Silence: c.flag("silence", def.Silence), Noise: c.flag("noise", def.Noise),
		Tone: c.flag("tone", def.Tone), Hum: c.flag("hum", def.Hum), Tops: c.flag("tops", def.Tops)}
}

// mute reads one mute; both its ends are needed, since a mute to the end of
// the film is what trim is for.
func (m mapping) mute(music *tempo.Map) (x production.Mute, ok bool) {
	m.need("from", "for example "+muteShape.example)
	m.need("to", "for example "+muteShape.example)
	from, okFrom := m.moment("from", music)
	to, okTo := m.moment("to", music)
	if !okFrom || !okTo {
		return x, false
	}
	if !from.Before(to) {
		m.at(m.vals["to"], "from must come before to", "the mute ends at %q, which is not after its beginning %q",
			to.Text, from.Text)
		return x, false
	}
	return production.Mute{From: from, To: to}, true
}

// lowCut returns nil for auto and when it is absent, 0 for none.
func (m mapping) lowCut() *float64 {
	if v := m.vals["low_cut"]; v != nil {
		switch v.Value {
		case "auto":
			return nil
		case "none":
			return new(float64)
		}
	}
	return m.optional("low_cut")
}

// band reads one band of an equaliser.
func (m mapping) band() production.Band {
	var b production.Band
	known := false
	if m.need("shape", "low_cut, low_shelf, bell or high_shelf") {
		b.Shape, known = mix.ParseShape(m.choice("shape", ""))
	}
	if m.need("hz", "for example "+bandShape.example) {
		b.Hz, _ = m.number("hz")
	}
	switch {
	case known && b.Shape == mix.LowCut && m.has("gain"):
		m.at(m.keys["gain"], "delete it, or use a low_shelf", "a low_cut has no gain")
	case known && b.Shape != mix.LowCut:
		m.need("gain", "for example "+bandShape.example)
	}
	b.GainDB, _ = m.number("gain")
	b.Q, _ = m.number("q")
	return b
}

// compress reads the keys of a compressor. Threshold and ratio have to be there: no value of
// either suits every instrument.
func (m mapping) compress() *production.Compress {
	c := &production.Compress{Ratio: 1}
	if m.need("threshold", "the level above which it works, for example threshold: -24") {
		c.ThresholdDB, _ = m.number("threshold")
	}
	if m.need("ratio", "for example ratio: 2") {
		c.Ratio = m.numberOr("ratio", c.Ratio)
	}
	c.KneeDB, _ = m.number("knee")
	c.Attack, _ = m.number("attack")
	c.Release, _ = m.number("release")
	c.MakeUpDB, _ = m.number("make_up")
	return c
}

// bus reads what all takes share besides loudness and balance.
func (m mapping) bus(x *production.Mix, sections []production.Section) {
	x.PanLaw, _ = pan.ParseLaw(m.choice("pan_law", x.PanLaw.String()))
	if c, ok := m.child("hall", hallShape); ok {
		for key, at := range map[string]*float64{
			"decay": &x.Hall.Decay, "high": &x.Hall.High, "pre_delay": &x.Hall.PreDelay, "size": &x.Hall.Size,
		} {
			if v, ok := c.number(key); ok {
				*at = v
			}
		}
	}
	if path := m.path("impulse", "rooms/church.wav"); path != "" {
		x.Impulse = &production.Asset{Path: path, Mark: markOf(m.file, m.vals["impulse"])}
		if m.has("hall") {
			m.at(m.keys["hall"], "keep the one you want to hear", "mix has both a hall and an impulse")
		}
	}
	for _, key := range []string{"hall", "impulse"} {
		if m.has(key) && x.Room == 0 && !m.has("room") {
			m.at(m.keys[key], "add room: 0.15, or another share", "%s is not heard without room", key)
		}
	}
	x.Clean = m.clean(x.Clean, x.Clean)
	x.FadeIn, _ = m.number("fade_in")
	x.FadeOut, _ = m.number("fade_out")
	x.SoloLiftDB, _ = m.number("solo_lift")
	x.Stage = m.stage(sections)
}

// stage reads where the sections sit.
func (m mapping) stage(sections []production.Section) []production.Place {
	var all []production.Place
	lines := map[string]int{}
	known := map[string]bool{}
	var names []string
	for _, s := range sections {
		known[s.Name] = true
		names = append(names, s.Name)
	}
	for _, e := range m.entries("stage", stageShape) {
		var p production.Place
		if e.need("section", "for example "+stageShape.example) {
			p.Section = e.sectionName("section")
		}
		v := e.vals["section"]
		switch line := lines[p.Section]; {
		case p.Section == "":
		case line > 0:
			e.at(v, fmt.Sprintf("the first is on line %d; a section sits in one place", line),
				"section %q is placed twice", p.Section)
		case !known[p.Section]:
			e.at(v, m.didYouMean(p.Section, names, "sections"), "no take is in section %q", clip(p.Section))
		default:
			lines[p.Section] = v.Line
		}
		for _, end := range []struct {
			key string
			at  *float64
		}{{"from", &p.From}, {"to", &p.To}} {
			if e.need(end.key, "for example "+stageShape.example) {
				*end.at, _ = e.number(end.key)
			}
		}
		all = append(all, p)
	}
	return all
}
