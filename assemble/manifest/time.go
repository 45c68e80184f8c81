package manifest

import (
	"fmt"
	"math"
	"strconv"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/production"
	"ripieno/mix/tempo"
)

// maxSeconds bounds every time in a manifest, a day. No piece is as long, and
// it keeps sample and frame numbers far from any overflow.
const maxSeconds = 86400

var (
	clockForm   = pattern(`^(?:([0-9]{1,2}):)?([0-9]{1,4}):([0-9]{1,2}(?:\.[0-9]*)?)$`)
	measureForm = pattern(`^m([0-9]{1,6})(?:/([0-9]{1,3}))?(?:\.([0-9]{1,3}))?$`)
)

// timeForms is the hint for whatever is not a time.
const timeForms = "seconds (12.5), minutes (01:12.500), a measure (m33) or a beat in it (m33.2)"

// musicalPlace is a place in the piece: in a measure as played, or with a pass in one
// that the page has, the so-manieth time that it is played.
type musicalPlace struct {
	tempo.Position
	pass int // from 1; 0 for a measure as played
}

// musical reads m33 and m33.2, and m17/2 and m17/2.3 for the second time of what the
// page has as measure 17. ok is false for any other form.
func musical(s string) (p musicalPlace, ok bool) {
	parts := measureForm().FindStringSubmatch(s)
	if parts == nil {
		return musicalPlace{}, false
	}
	// The form bounds the digits, so none can fail.
	p.Measure, _ = strconv.Atoi(parts[1])
	p.pass, _ = strconv.Atoi(parts[2])
	p.Beat = 1
	if parts[3] != "" {
		p.Beat, _ = strconv.ParseFloat(parts[3], 64)
	}
	return p, parts[2] == "" || p.pass > 0
}

// played returns the place in measures as played; an error when the page has no such
// measure, or it is not played as often.
func (p musicalPlace) played(music *tempo.Map) (tempo.Position, error) {
	if p.pass == 0 {
		return p.Position, nil
	}
	n, ok := music.Played(tempo.Place{Number: strconv.Itoa(p.Measure), Pass: p.pass})
	if !ok {
		times := 0
		for ok := true; ok; times++ {
			_, ok = music.Played(tempo.Place{Number: strconv.Itoa(p.Measure), Pass: times + 1})
		}
		return p.Position, fmt.Errorf("measure %d of the page is played %d times and not %d", p.Measure, times-1,
			p.pass)
	}
	return tempo.Position{Measure: n, Beat: p.Beat}, nil
}

// clock reads seconds, mm:ss.sss and h:mm:ss.sss. why is "" when s is a time
// of a day at most, and else says what is wrong with it.
func clock(s string) (seconds float64, why string) {
	if numberForm().MatchString(s) {
		x, err := strconv.ParseFloat(s, 64)
		if err != nil || math.Abs(x) > maxSeconds {
			return 0, "is more than a day"
		}
		return x, ""
	}
	parts := clockForm().FindStringSubmatch(s)
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
		return m.placeOf(t, p, v, music)
	}
	seconds, why := clock(v.Value)
	if why != "" {
		m.at(v, timeForms+", start or end", "%s %q %s", key, clip(v.Value), why)
		return t, false
	}
	t.Seconds = seconds
	return t, true
}

// placeOf turns a place as it is written into guide time.
func (m mapping) placeOf(t production.Time, p musicalPlace, v *yaml.Node, music *tempo.Map) (production.Time, bool) {
	if music == nil {
		return t, false
	}
	at, err := p.played(music)
	if err != nil {
		m.at(v, "ripieno click lists all measures as played, with their numbers on the page", "%v", err)
		return t, false
	}
	return m.place(t, at, v, music)
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
	case p.Measure == 0 && music.Spec().PickUp > 0:
		return pickUpHint(music, p.Beat)
	case p.Measure == 0:
		return "pick_up: in tempo: makes a measure 0"
	}
	return fmt.Sprintf("measure %d is in %s", p.Measure, music.Meter(p.Measure))
}

// pickUpHint returns how the beats of the pick-up are written: from 1, although it is
// counted as the end of a full measure.
func pickUpHint(music *tempo.Map, beat float64) string {
	beats, pickUp := float64(music.Meter(1).Beats()), music.Spec().PickUp
	if within := beat - beats + pickUp; within >= 1 && within < pickUp+1 {
		return fmt.Sprintf("did you mean m0.%s? beats of the pick-up are written from 1: m0.1 is counted as beat %s",
			decimal(within), decimal(beats-pickUp+1))
	}
	return fmt.Sprintf("beats of the pick-up are written from 1: m0.1 is counted as beat %s", decimal(beats-pickUp+1))
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
