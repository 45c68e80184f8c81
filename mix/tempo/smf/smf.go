// Package smf reads the time of a piece from Standard MIDI Files and writes
// clicks and tempo map as one.
//
// [Read] understands formats 0 and 1 with ticks per quarter note. It refuses
// format 2 (separate patterns, no common time) and SMPTE division (ticks are
// fractions of a second there, so that the file has no beats). It takes tempo
// and time signature events, names, and the onsets of notes; everything else
// is skipped.
//
// Numbers and meanings of events are those of the Standard MIDI Files 1.0
// specification; a tempo is microseconds per quarter note whatever the meter.
//
// # Not here
//
// Playing, and anything about sound but percussion note numbers.
package smf

import (
	"fmt"
	"io"

	"ripieno/mix/tempo/score"
)

// Limits of what Read accepts. A real score is a small part of them.
const (
	MaxBytes  = 16 << 20
	maxTracks = 1024
	maxNotes  = 1_000_000
	maxEvents = 200_000 // tempo and time signature events
)

// Read reads a file from its beginning. An error says where in the file the
// damage is, or which feature is refused and why.
func Read(r io.Reader) (*score.Score, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxBytes+1))
	if err != nil {
		return nil, err
	}
	if len(data) > MaxBytes {
		return nil, fmt.Errorf("midi file: larger than %d MiB", MaxBytes>>20)
	}
	f, err := parse(data)
	if err != nil {
		return nil, fmt.Errorf("midi file: %w", err)
	}
	s, err := f.score()
	if err != nil {
		return nil, fmt.Errorf("midi file: %w", err)
	}
	return s, nil
}
