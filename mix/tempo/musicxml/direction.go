package musicxml

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// noteValues are the beat units of MusicXML 4.0 (note-type-value) that a
// tempo can count.
var noteValues = map[string]tempo.Unit{
	"breve": {Num: 2, Den: 1}, "whole": {Num: 1, Den: 1}, "half": {Num: 1, Den: 2}, "quarter": {Num: 1, Den: 4},
	"eighth": {Num: 1, Den: 8}, "16th": {Num: 1, Den: 16}, "32nd": {Num: 1, Den: 32},
}

// direction takes tempos from a direction. Its offset moves it from the place
// where it stands in the file, in divisions.
func (c *cursor) direction(e *element) error {
	at := c.at
	if e.Offset != "" {
		v, err := number("an offset", e.Offset)
		if err != nil {
			return err
		}
		at = max(at+int64(math.Round(v/c.part.divisions*resolution)), 0)
	}
	c.directionSigns(e)
	c.wishWords(e, at)
	for _, text := range e.Rehearsal {
		if c.bar.mark == "" {
			c.bar.mark = clean(text)
		}
	}
	var metronome *mark
	for _, m := range e.Metronomes {
		if k, ok := c.metronome(m); ok {
			k.tick = at
			metronome = &k
		}
	}
	if len(e.Sounds) == 0 && metronome != nil {
		return c.mark(*metronome)
	}
	// Programs write the mark for the eye and the sound for the ear: the
	// sound is what they play.
	for _, s := range e.Sounds {
		if err := c.sound(s, metronome, at); err != nil {
			return err
		}
		metronome = nil
	}
	return nil
}

// mark adds a tempo to the measure, from whichever part. A crafted file could hold
// millions of them.
func (c *cursor) mark(k mark) error {
	if len(c.bar.tempos) == maxMarks {
		return fmt.Errorf("more than %d tempo marks", maxMarks)
	}
	c.bar.tempos = append(c.bar.tempos, k)
	return nil
}

// metronome reads a metronome mark; ok is false for those that give no
// number, such as "quarter = dotted quarter".
func (c *cursor) metronome(m metronome) (k mark, ok bool) {
	if len(m.BeatUnit) != 1 || m.PerMinute == "" {
		c.remark("measure %s: a metronome mark without a number is left out", c.bar.number)
		return mark{}, false
	}
	// "c. 88" and "88-92" are written there too: the first number counts.
	digits := strings.TrimLeftFunc(m.PerMinute, func(r rune) bool { return r < '0' || r > '9' })
	if i := strings.IndexFunc(digits, func(r rune) bool { return (r < '0' || r > '9') && r != '.' }); i >= 0 {
		digits = digits[:i]
	}
	bpm, err := strconv.ParseFloat(strings.TrimRight(digits, "."), 64)
	unit, known := noteValues[strings.TrimSpace(m.BeatUnit[0])]
	if err != nil || !known || !(bpm >= tempo.MinBPM && bpm <= tempo.MaxBPM) || len(m.Dots) > 2 {
		c.remark("measure %s: a metronome mark of %s = %s is left out", c.bar.number, clean(m.BeatUnit[0]),
			clean(m.PerMinute))
		return mark{}, false
	}
	return mark{unit: unit.Dotted(len(m.Dots)), bpm: bpm}, true
}

// sound takes the tempo of a sound element, in quarters a minute. When a
// metronome mark beside it says the same, its beat unit is kept. beside is the
// metronome mark of the same direction, nil for none; at is its place in ticks.
func (c *cursor) sound(s sound, beside *mark, at int64) error {
	c.soundSigns(s)
	if s.Tempo == "" {
		if beside != nil {
			return c.mark(*beside)
		}
		return nil
	}
	bpm, err := number("a tempo", s.Tempo)
	if err != nil {
		return err
	}
	if bpm == 0 {
		return nil // written by some programs where none is meant
	}
	if !(bpm >= tempo.MinBPM && bpm <= tempo.MaxBPM) {
		return fmt.Errorf("a tempo of %s quarter notes a minute", clean(s.Tempo))
	}
	k := mark{tick: at, unit: tempo.Unit{Num: 1, Den: 4}, bpm: bpm}
	// Programs round one of the two; a tenth of a percent is the same tempo.
	if beside != nil && math.Abs(beside.bpm*beside.unit.Quarters()-bpm) < 1e-3*bpm {
		k = *beside
	}
	return c.mark(k)
}

// barline takes repeats and endings; those of the first part count. Times of a repeat
// and numbers of endings go to 100, beyond any music.
func (c *cursor) barline(e *element) {
	if !c.first {
		return
	}
	c.barlineSigns(e)
	if len(e.BarFermatas) > 0 {
		c.wish(score.Wish{Kind: score.Pause, Text: "fermata over the barline", Factor: score.Fermata, End: -1})
	}
	b := &c.bar.signs
	for _, r := range e.Repeat {
		switch r.Direction {
		case "forward":
			b.Forward = true
		case "backward":
			b.Backward, b.AfterJump = true, r.AfterJump == "yes"
			b.Times = 2
			if n, err := strconv.Atoi(strings.TrimSpace(r.Times)); err == nil && n >= 1 && n <= 100 {
				b.Times = n
			}
		}
	}
	for _, x := range e.Endings {
		switch x.Type {
		case "start":
			for _, s := range strings.FieldsFunc(x.Number, func(r rune) bool { return r == ',' || r == ' ' }) {
				// Written "1", "1, 2" or "1."; other text is no number.
				if n, err := strconv.Atoi(strings.TrimSuffix(s, ".")); err == nil && n >= 1 && n <= 100 {
					b.Endings = append(b.Endings, n)
				}
			}
		case "stop", "discontinue":
			b.EndingStops = true
		}
	}
}
