package manifest

import (
	"fmt"
	"math"
	"regexp"
	"strconv"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/production"
	"ripieno/mix/tempo"
)

// maxSeconds bounds every time in a manifest, a day. No piece is as long, and
// it keeps sample and frame numbers far from any overflow.
const maxSeconds = 86400

var (
	clockForm   = regexp.MustCompile(`^(?:([0-9]{1,2}):)?([0-9]{1,4}):([0-9]{1,2}(?:\.[0-9]*)?)$`)
	measureForm = regexp.MustCompile(`^m([0-9]{1,6})(?:\.([0-9]{1,3}))?$`)
)

// timeForms is the hint for whatever is not a time.
const timeForms = "seconds (12.5), minutes (01:12.500), a measure (m33) or a beat in it (m33.2)"

// musical reads m33 and m33.2. ok is false for any other form.
func musical(s string) (p tempo.Position, ok bool) {
	parts := measureForm.FindStringSubmatch(s)
	if parts == nil {
		return tempo.Position{}, false
	}
	// The form bounds the digits, so neither can fail.
	p.Measure, _ = strconv.Atoi(parts[1])
	p.Beat = 1
	if parts[2] != "" {
		p.Beat, _ = strconv.ParseFloat(parts[2], 64)
	}
	return p, true
}

// clock reads seconds, mm:ss.sss and h:mm:ss.sss. why is "" when s is a time
// of a day at most, and else says what is wrong with it.
func clock(s string) (seconds float64, why string) {
	if numberForm.MatchString(s) {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil || math.Abs(x) > maxSeconds {
			return 0, "is more than a day"
		}
		return x, ""
	}
	parts := clockForm.FindStringSubmatch(s)
	if parts == nil {
		return 0, "is not a time"
	}
	var h, min, sec float64
	if parts[1] != "" {
		h, _ = strconv.ParseFloat(parts[1], 64)
	}
	min, _ = strconv.ParseFloat(parts[2], 64)
	sec, _ = strconv.ParseFloat(parts[3], 64)
	if sec >= 60 {
		return 0, "has 60 seconds or more after the minutes"
	}
	if parts[1] != "" && min >= 60 {
		return 0, "has 60 minutes or more after the hours"
	}
	if seconds = h*3600 + min*60 + sec; seconds > maxSeconds {
		return 0, "is more than a day"
	}
	return seconds, ""
}

// moment reads a time of a shot or trim. ok is false when it is absent or
// faulty. With a nil map, after a fault in tempo, musical positions cannot be
// placed: they are checked for form only and ok is false.
func (m mapping) moment(key string, music *tempo.Map) (t production.Time, ok bool) {
	v, ok := m.scalar(key, "m33")
	if !ok {
		return production.Time{}, false
	}
	t = production.Time{Text: v.Value, Mark: markOf(m.file, v)}
	switch v.Value {
	case "start":
		t.Edge = production.FilmStart
		return t, true
	case "end":
		t.Edge = production.FilmEnd
		return t, true
	}
	if p, isMusical := musical(v.Value); isMusical {
		return m.place(t, p, v, music)
	}
	seconds, why := clock(v.Value)
	if why != "" {
		m.at(v, timeForms+", start or end", "%s %q %s", key, clip(v.Value), why)
		return t, false
	}
	t.Seconds = seconds
	return t, true
}

// place turns a musical position into guide time.
func (m mapping) place(t production.Time, p tempo.Position, v *yaml.Node, music *tempo.Map) (production.Time, bool) {
	if music == nil {
		return t, false
	}
	seconds, err := music.Seconds(p)
	if err != nil {
		m.at(v, placeHint(music, p), "%v", err)
		return t, false
	}
	t.Seconds = seconds
	return t, true
}

// placeHint returns what places there are near one that is not in the piece.
func placeHint(music *tempo.Map, p tempo.Position) string {
	switch last := music.Measures(); {
	case p.Measure > last:
		return fmt.Sprintf("m%d is the end of the piece", last+1)
	case p.Measure == 0:
		return "pick_up: in tempo: makes a measure 0"
	}
	return fmt.Sprintf("measure %d is in %s", p.Measure, music.Meter(p.Measure))
}

// fileTime reads a moment in a recording, seconds or mm:ss.sss from its
// beginning.
func (m mapping) fileTime(key string) (*float64, bool) {
	v, ok := m.scalar(key, "11.482")
	if !ok {
		return nil, false
	}
	seconds, why := clock(v.Value)
	switch {
	case why != "":
		m.at(v, "seconds (11.482) or minutes (00:11.482) from the beginning of the file", "%s %q %s", key,
			clip(v.Value), why)
		return nil, false
	case seconds < 0:
		m.at(v, "seconds from the beginning of the file", "%s %s is before the file begins", key, clip(v.Value))
		return nil, false
	}
	return &seconds, true
}
