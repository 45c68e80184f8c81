package follow

import (
	"fmt"
	"io"
	"slices"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/smf"
)

// together is within how many seconds notes of a MIDI file are one tap: fingers of a hand.
const together = 0.03

// Taps reads a MIDI file in which somebody has tapped the beats on keys: a line for every
// place where notes begin. Errors are those of the file, and of one without notes.
func Taps(r io.Reader) ([]Line, error) {
	s, err := smf.Read(r)
	if err != nil {
		return nil, err
	}
	m, err := tempo.New(s.Spec)
	if err != nil {
		return nil, err
	}
	var all []float64
	for _, p := range s.Parts {
		all = append(all, p.Seconds(m)...)
	}
	if len(all) == 0 {
		return nil, fmt.Errorf("it has no notes")
	}
	slices.Sort(all)
	var lines []Line
	for _, at := range all {
		if n := len(lines); n == 0 || at-lines[n-1].At > together {
			lines = append(lines, Line{Number: n + 1, At: at})
		}
	}
	return lines, nil
}

// From leaves out what a list has before the first beat, by ear: a count before the piece.
// Lines that say which beat they are stay.
func From(lines []Line, first float64) []Line {
	return slices.DeleteFunc(slices.Clone(lines), func(l Line) bool { return l.Place.Beat == 0 && l.At < first-byEar })
}
