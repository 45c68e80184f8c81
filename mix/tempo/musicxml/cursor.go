package musicxml

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// cursor is the place in a measure while its elements are read. There is a new one
// for each part of each measure; what outlasts it is in part and bar.
type cursor struct {
	*parser
	part     *part
	bar      *bar
	first    bool  // the part is the score's first
	at       int64 // ticks from the barline
	last     int64 // where the last note that is not of a chord began
	furthest int64
}

// element takes one child of the measure.
func (c *cursor) element(e *element) error {
	switch e.XMLName.Local {
	case "attributes":
		return c.attributes(e)
	case "note":
		return c.note(e)
	// Voices are written one after the other: the file goes back to where the next
	// one begins.
	case "backup", "forward":
		d, err := c.duration(e.Duration)
		if err != nil {
			return err
		}
		if e.XMLName.Local == "backup" {
			d = -d
		}
		c.move(d)
	case "direction":
		return c.direction(e)
	case "sound":
		return c.sound(e.sound, nil, c.at)
	case "barline":
		c.barline(e)
	}
	return nil
}

// move advances the place; a backup before the barline stops at it.
func (c *cursor) move(ticks int64) {
	c.at = max(c.at+ticks, 0)
	c.furthest = max(c.furthest, c.at)
}

// number reads a decimal of the file that is finite and within ±1e6.
func number(what, s string) (float64, error) {
	v, err := strconv.ParseFloat(strings.TrimSpace(s), 64)
	if err != nil || !(math.Abs(v) <= 1e6) {
		return 0, fmt.Errorf("%s of %q is not a usable number", what, clean(s))
	}
	return v, nil
}

// duration turns divisions into ticks. Rounded to a tick: tuplets that the resolution
// does not divide have fractions of one.
func (c *cursor) duration(s string) (int64, error) {
	v, err := number("a duration", s)
	if err != nil {
		return 0, err
	}
	ticks := math.Round(v / c.part.divisions * resolution)
	// No measure is longer than the longest meter, 64 whole notes.
	if v < 0 || ticks > 256*resolution || c.at > 256*resolution {
		return 0, fmt.Errorf("a duration of %s divisions, %g to the quarter note, is too long", clean(s),
			c.part.divisions)
	}
	return int64(ticks), nil
}

// attributes takes what holds for the part from here on: divisions of the
// quarter note, transposition, and time signatures. A part that has no divisions yet
// has 1, as the first measure must give some.
func (c *cursor) attributes(e *element) error {
	if e.Divisions != "" {
		d, err := number("a division", e.Divisions)
		if err != nil {
			return err
		}
		if d < 1e-3 {
			return fmt.Errorf("%q divisions of a quarter note", clean(e.Divisions))
		}
		c.part.divisions = d
	}
	for _, t := range e.Transpose {
		semitones, octaves := 0.0, 0.0
		var err error
		if t.Chromatic != "" {
			semitones, err = number("a transposition", t.Chromatic)
		}
		if t.Octaves != "" && err == nil {
			octaves, err = number("a transposition", t.Octaves)
		}
		if err != nil {
			return err
		}
		c.part.transpose = int(math.Round(semitones + 12*octaves))
	}
	c.keySignature(e)
	for _, t := range e.Times {
		if err := c.signature(t); err != nil {
			return err
		}
	}
	return nil
}

// keySignature takes the key of the first part that has one in this measure, moved to
// where it sounds: each semitone of a transposition is seven fifths. The sum goes
// round the circle of fifths and comes back to between −5 and 6, so that keys with
// many accidentals are written with few.
func (c *cursor) keySignature(e *element) {
	for _, k := range e.Keys {
		fifths, err := strconv.Atoi(strings.TrimSpace(k.Fifths))
		if err != nil || fifths < -7 || fifths > 7 || c.bar.key != nil {
			continue // a key of single accidentals, or one for the ear of nobody
		}
		fifths = ((fifths+7*c.part.transpose+5)%12 + 12) % 12
		c.bar.key = &score.Key{Fifths: fifths - 5, Minor: strings.TrimSpace(k.Mode) == "minor"}
	}
}

// signature takes a time signature; the first part's counts.
func (c *cursor) signature(t signature) error {
	if t.Senza != nil {
		c.bar.senza = c.bar.senza || c.first
		return nil
	}
	m, err := t.meter()
	if err != nil {
		return err
	}
	// The map knows meters by measure; a change inside one is a rare way to
	// write a measure of two halves.
	if c.at > 0 {
		c.remark("measure %s: a time signature within the measure is left out", c.bar.number)
		return nil
	}
	switch {
	case c.bar.meter.IsZero():
		c.bar.meter = m
	case c.bar.meter != m:
		c.remark("measure %s: the parts have different time signatures, %v of the first is taken", c.bar.number,
			c.bar.meter)
	}
	return nil
}

// meter joins pairs of beats and beat-type, such as 3+2/8 or 3/4 + 3/8. It fails for
// what no map can hold. The numbers are bounded before anything is made of them.
func (t signature) meter() (tempo.Meter, error) {
	if len(t.Beats) == 0 || len(t.Beats) != len(t.BeatType) || len(t.Beats) > 16 {
		return tempo.Meter{}, fmt.Errorf("a time signature of %d upper and %d lower numbers", len(t.Beats),
			len(t.BeatType))
	}
	var parts []tempo.MeterPart
	for i, beats := range t.Beats {
		den, err := strconv.Atoi(strings.TrimSpace(t.BeatType[i]))
		if err != nil || den < 1 || den > 64 {
			return tempo.Meter{}, fmt.Errorf("a time signature on 1/%s notes", clean(t.BeatType[i]))
		}
		part := tempo.MeterPart{Den: den}
		for _, g := range strings.Split(beats, "+") {
			n, err := strconv.Atoi(strings.TrimSpace(g))
			if err != nil || n < 1 || n > 64 {
				return tempo.Meter{}, fmt.Errorf("a time signature of %q beats", clean(beats))
			}
			part.Groups = append(part.Groups, n)
		}
		parts = append(parts, part)
	}
	return tempo.CompositeOf(parts)
}

// note takes a note, a rest or a member of a chord. Only the beginning of a
// sounding note is an onset. Notes without a pitch, as of drums, have −1 for one. A
// note that is tied to the one before is no onset, and neither are cue notes, which
// somebody else plays.
func (c *cursor) note(e *element) error {
	if e.Grace != nil {
		c.pauses(e, c.at, c.at)
		return nil // takes its time from its neighbours
	}
	d, err := c.duration(e.Duration)
	if err != nil {
		return err
	}
	// A chord's further notes begin with its first and take no more time.
	begin := c.at
	if e.Chord != nil {
		begin = c.last
	} else {
		c.last = c.at
		c.move(d)
	}
	c.pauses(e, begin, begin+d)
	if e.Rest != nil || e.Cue != nil {
		return nil
	}
	c.bar.sounds = true
	for _, t := range e.Ties {
		if t.Type == "stop" {
			return nil // the note goes on
		}
	}
	key := -1
	if e.Pitch != nil {
		if key, err = e.Pitch.key(c.part.transpose); err != nil {
			return err
		}
	}
	if c.notes++; c.notes > maxNotes {
		return fmt.Errorf("more than %d notes", maxNotes)
	}
	c.part.notes.Onsets = append(c.part.notes.Onsets, score.WrittenOnset{
		Measure: c.part.index,
		Onset:   score.Onset{Quarter: float64(begin) / resolution, Note: key},
	})
	return nil
}

// key returns the sounding MIDI note, C4 = 60; −1 outside 0 to 127. The name's place
// in "C-D-EF-G-A-B" is its distance from C in semitones. Quarter tones are rounded.
func (p *pitch) key(transpose int) (int, error) {
	step := strings.Index("C-D-EF-G-A-B", strings.TrimSpace(p.Step))
	octave, err := number("an octave", p.Octave)
	if err != nil {
		return 0, err
	}
	alter := 0.0
	if p.Alter != "" {
		if alter, err = number("an alteration", p.Alter); err != nil {
			return 0, err
		}
	}
	if len(strings.TrimSpace(p.Step)) != 1 || step < 0 || p.Step == "-" {
		return 0, fmt.Errorf("note name %q", clean(p.Step))
	}
	key := 12*(octave+1) + float64(step) + math.Round(alter) + float64(transpose)
	if key < 0 || key > 127 {
		return -1, nil
	}
	return int(key), nil
}
