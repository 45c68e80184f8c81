package manifest

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/mix/tempo"
)

// Bounds of the picture.
const (
	minCanvas, maxCanvas = 32, 8192 // pixels; H.264 level 6.2 ends at 8192
	maxEdge              = 60       // seconds of film before and after the music
	maxPushIn            = 1.5      // times; more is no slow push-in
	maxLabelsFade        = 3        // seconds; slower, names are neither there nor not
)

// mix reads the settings of the sound. The defaults are those of films that
// are streamed: -16 LUFS for a track of music (AES TD1008) under a ceiling of
// -1 dBTP (EBU R 128). takes is how many there are: in large productions cleaning
// does less by default.
func (m mapping) mix(sections []production.Section, takes int) production.Mix {
	x := production.Mix{
		LoudnessLUFS: -16, TruePeakDB: -1, AutoBalance: true, Hall: defaultHall, Clean: defaultClean(takes),
		LowPan: 35,
	}
	c, ok := m.child("mix", mixShape)
	if !ok {
		return x
	}
	// Above -6 no limiter keeps music whole; below -36 is an error of sign.
	x.LoudnessLUFS = c.numberOr("loudness", x.LoudnessLUFS)
	x.TruePeakDB = c.numberOr("true_peak", x.TruePeakDB)
	x.Room, _ = c.number("room")
	balance := c.choice("balance", "auto")
	x.AutoBalance, x.Ensemble = balance != "manual", balance == "ensemble"
	if v, ok := c.number("low_pan"); ok {
		x.LowPan = v
	}
	c.bus(&x, sections)
	return x
}

// picture reads what all deliverables share. Pixel measures are those of a
// film with 1080 lines, so that one manifest suits every canvas.
func (m mapping) picture() production.Picture {
	// What is seen when nothing is written; the schema says the same in words.
	p := production.Picture{FPSNum: 30, FPSDen: 1, Aspect: anyAspect, Gutter: 6, AutoGutter: true, AutoMargin: true,
		Background: "#14161a", Labels: true, LeadIn: 3, Tail: 3, Rows: production.GridRows,
		AudioOnly:  production.AudioOnlyCard,
		LabelStyle: layout.Plate, LabelCorner: layout.AutoCorner}
	c, ok := m.child("picture", pictureShape)
	if !ok {
		return p
	}
	c.fps(&p)
	if a := c.aspect(); a != (production.Aspect{}) {
		p.Aspect = a
	}
	if n, ok := c.whole("gutter"); ok {
		p.Gutter, p.AutoGutter = n, false
	}
	if n, ok := c.whole("margin"); ok {
		p.Margin, p.AutoMargin = n, false
	}
	// Before ground, which would take the word for a colour that is none.
	if v := c.vals["background"]; v != nil && isScalar(v) && v.Value == "blur" {
		p.Blurred = true
	} else {
		p.Background, p.Backdrop = c.ground("background", p.Background)
	}
	if c.has("background_to") {
		p.BackgroundTo = c.colour("background_to", "#0b0f14")
		if p.Backdrop != nil || p.Blurred {
			c.at(c.keys["background_to"], "background: a colour such as \"#203040\", or delete background_to",
				"a picture cannot fade into a colour")
		}
	}
	p.Fonts = c.fonts()
	p.Labels = c.flag("labels", p.Labels)
	p.LeadIn = c.numberOr("lead_in", p.LeadIn)
	p.Tail = c.numberOr("tail", p.Tail)
	p.LabelsFor, _ = c.number("labels_for")
	p.LabelsFade, _ = c.number("labels_fade")
	p.LabelStyle = choose(c, "label_style", p.LabelStyle)
	p.LabelCorner = choose(c, "label_corner", p.LabelCorner)
	p.SmallestScreen, _ = c.number("smallest_screen")
	p.Rows = choose(c, "rows", p.Rows)
	p.ShortRows = c.shortRows(p.Aspect)
	p.AudioOnly = choose(c, "audio_only", p.AudioOnly)
	p.SmallestTile, _ = c.whole("smallest_tile")
	p.MatchLight = c.choice("match", "nothing") == "light"
	p.Cuts = choose(c, "cuts", p.Cuts)
	p.FadeIn, _ = c.number("fade_in")
	p.FadeOut, _ = c.number("fade_out")
	return p
}

// maxFonts bounds the font files of a production; every script there is would
// need fewer.
const maxFonts = 8

// fonts reads one font file, or a list of them. The order is that in which they are
// asked for a character.
func (m mapping) fonts() []production.Asset {
	const example = "fonts/hebrew.ttf"
	v := m.vals["font"]
	if v == nil || v.Kind != yaml.SequenceNode {
		if path := m.path("font", example); path != "" {
			return []production.Asset{{Path: path, Mark: markOf(m.file, v)}}
		}
		return nil
	}
	if len(v.Content) == 0 || len(v.Content) > maxFonts {
		m.at(v, fmt.Sprintf("one font file, or a list of up to %d", maxFonts), "font lists %d files", len(v.Content))
		return nil
	}
	var all []production.Asset
	for _, n := range v.Content {
		// Each entry is read as if it stood behind the key alone.
		one := m
		one.vals = map[string]*yaml.Node{"font": n}
		if path := one.path("font", example); path != "" {
			all = append(all, production.Asset{Path: path, Mark: markOf(m.file, n)})
		}
	}
	return all
}

// frameRates are the production's rates, by the ways people write them. The
// broken ones are exact fractions (SMPTE 170M's 1000/1001).
var frameRates = map[string][2]int{
	"24": {24, 1}, "25": {25, 1}, "30": {30, 1}, "50": {50, 1}, "60": {60, 1},
	"23.976": {24000, 1001}, "23.98": {24000, 1001}, "24000/1001": {24000, 1001},
	"29.97": {30000, 1001}, "30000/1001": {30000, 1001},
	"59.94": {60000, 1001}, "60000/1001": {60000, 1001},
}

// fps reads the frame rate. Rates that are not in the table are refused, not
// rounded: a film at 29.9 frames a second is nobody's wish. Text is compared and not
// numbers: 29.97 stands for a fraction that no decimal is.
func (m mapping) fps(p *production.Picture) {
	v, ok := m.scalar("fps", "30")
	if !ok {
		return
	}
	rate, ok := frameRates[v.Value]
	if !ok {
		m.at(v, "one of "+strings.Join(m.shape.key("fps").value.words, ", "), "fps %q is not a frame rate for films",
			clip(v.Value))
		return
	}
	p.FPSNum, p.FPSDen = rate[0], rate[1]
}

var colourForm = pattern(`^#[0-9a-fA-F]{6}$`)

// colour reads #rrggbb. Without quotes YAML takes it for a comment and sees
// nothing, which gets a hint of its own because everybody falls for it. The result is
// in small letters, so that the same colour is the same text in keys of tasks.
func (m mapping) colour(key, def string) string {
	example := strconv.Quote(def)
	if v := m.vals[key]; v != nil && isEmpty(v) {
		m.at(m.keys[key], "write it in quotes, for example "+key+": "+example+", since # begins a comment",
			"%s has no value", key)
		return def
	}
	v, ok := m.scalar(key, example)
	if !ok {
		return def
	}
	if !colourForm().MatchString(v.Value) {
		hint := "red, green and blue as two hexadecimal digits each, in quotes: " + example +
			"; or a picture, .png or .jpg"
		if colourForm().MatchString("#" + v.Value) {
			hint = fmt.Sprintf("did you mean %q, in quotes?", "#"+v.Value)
		}
		m.at(v, hint, "%s %q is not a colour", key, clip(v.Value))
		return def
	}
	return strings.ToLower(v.Value)
}

// ground reads what stands behind something: a colour, or a picture file. The
// colour is def beside a picture. What makes a picture of it is the ending alone;
// whether the file is one is seen when it is opened.
func (m mapping) ground(key, def string) (colour string, picture *production.Asset) {
	v := m.vals[key]
	if v == nil || !isScalar(v) || !pictureForm().MatchString(v.Value) {
		return m.colour(key, def), nil
	}
	if path := m.path(key, "art/hall.jpg"); path != "" {
		return def, &production.Asset{Path: path, Mark: markOf(m.file, v)}
	}
	return def, nil
}

var pictureForm = pattern(`(?i)\.(png|jpe?g)$`)

var canvasForm = pattern(`^([0-9]{1,6})[xX×]([0-9]{1,6})$`)

// deliver reads the finished films; one in full HD when none is named. None takes the
// name of a guide of variants.
func (m mapping) deliver(music *tempo.Map, variants []production.Variant) []production.Deliverable {
	var all []production.Deliverable
	used := newNames("deliverable")
	for _, e := range m.entries("deliver", deliverShape) {
		d := production.Deliverable{Mark: markOf(m.file, e.node)}
		if e.need("name", "for example "+deliverShape.example) {
			d.Name = e.name("name", "final")
			used.add(e, "name", d.Name)
		}
		if e.need("canvas", "for example "+deliverShape.example) {
			d.W, d.H = e.canvas()
		}
		d.Codec = e.codec(min(d.W, d.H))
		if t, ok := e.moment("poster", music); ok {
			d.Poster = &t
		}
		d.Aspect = e.aspect()
		all = append(all, d)
	}
	if v := m.vals["deliver"]; v == nil {
		return []production.Deliverable{{Name: "final", W: 1920, H: 1080, Codec: production.Codecs[0],
			Mark: markOf(m.file, m.node)}}
	} else if len(v.Content) == 0 && v.Kind != 0 && !isScalar(v) {
		m.at(v, "delete the line for one film of 1920x1080", "deliver has no entries")
	}
	m.refuseClashes(all)
	m.refuseGuides(all, variants)
	return all
}

// sameCodec maps other names of codecs, and of programs that encode them, to
// the manifest's. Letter by letter, h265 would be nearest to h264.
var sameCodec = map[string]production.Codec{
	"h.264": "h264", "avc": "h264", "x264": "h264", "libx264": "h264", "mpeg-4 avc": "h264",
	"h265": "hevc", "h.265": "hevc", "x265": "hevc", "libx265": "hevc", "h.265/hevc": "hevc",
	"av01": "av1", "svt-av1": "av1", "libsvtav1": "av1", "libaom-av1": "av1", "aom": "av1",
}

// leastAV1 is the shortest side of a picture that libsvtav1 takes, in pixels.
const leastAV1 = 64

// codec reads what a film is encoded as. side is the shorter side of its
// canvas, 0 when that is not known.
func (m mapping) codec(side int) production.Codec {
	if v := m.vals["codec"]; v != nil && isScalar(v) {
		if meant := sameCodec[strings.ToLower(v.Value)]; meant != "" {
			m.at(v, fmt.Sprintf("did you mean %q?", meant), "unknown codec %q", clip(v.Value))
			return production.Codecs[0]
		}
	}
	c := choose(m, "codec", production.Codecs[0])
	if c == production.AV1 && side > 0 && side < leastAV1 {
		m.at(m.vals["codec"], fmt.Sprintf("each side of the canvas at least %d pixels, or codec: h264", leastAV1),
			"the canvas is too small for AV1")
	}
	return c
}

// canvas reads a size in pixels. Both sides are even because 4:2:0 video
// stores one colour sample for two by two pixels.
func (m mapping) canvas() (w, h int) {
	v, ok := m.scalar("canvas", "1920x1080")
	if !ok {
		return 0, 0
	}
	parts := canvasForm().FindStringSubmatch(v.Value)
	if parts == nil {
		m.at(v, "width x height in pixels, for example 1920x1080", "canvas %q is not a size", clip(v.Value))
		return 0, 0
	}
	w, _ = strconv.Atoi(parts[1]) // six digits at most
	h, _ = strconv.Atoi(parts[2])
	switch {
	case w < minCanvas || h < minCanvas || w > maxCanvas || h > maxCanvas:
		m.at(v, fmt.Sprintf("each side from %d to %d pixels", minCanvas, maxCanvas), "canvas %s is out of range",
			v.Value)
		return 0, 0
	case w%2 != 0 || h%2 != 0:
		even := func(n int) int { return int(math.Round(float64(n)/2)) * 2 }
		m.at(v, fmt.Sprintf("did you mean %dx%d?", even(w), even(h)),
			"canvas %s has an odd side, which video cannot store", v.Value)
		return 0, 0
	}
	return w, h
}
