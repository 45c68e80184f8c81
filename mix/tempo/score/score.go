// Package score is what a score file says about time, whatever its format:
// the tempo map's [tempo.Spec], where each part plays its notes, and remarks
// about what could not be kept. The packages smf and musicxml make it.
//
// Places are in quarter notes from the downbeat of measure 1, as in package
// tempo; a pick-up has negative ones. Measures are counted as played, with
// repeats written out.
package score

import "ripieno/mix/tempo"

// Score is the time of a piece as a file gives it.
type Score struct {
	Title string // may be empty
	// Spec has no count-in; the caller adds it. tempo.New accepts it.
	Spec  tempo.Spec
	Parts []Part // those that have notes, in the order of the file
	// Printed is the number each played measure has on paper, from measure 1.
	Printed []string
	Remarks []string // lower case; what a person should know before relying on it
	Hash    string   // SHA-256 of the file, as whoever opened it has counted; "" when nobody did
}

// Part is one part's notes.
type Part struct {
	Name   string
	Onsets []Onset // in order; chords have one onset for each note
}

// Onset is the beginning of a note.
type Onset struct {
	Quarter float64
	Note    int // MIDI note number as it sounds, 0 to 127; −1 when the file has no pitch
}

// Seconds returns the guide time of the part's onsets in m, each time once: the
// notes of a chord begin together.
func (p Part) Seconds(m *tempo.Map) []float64 {
	var out []float64
	for i, o := range p.Onsets {
		if i == 0 || o.Quarter != p.Onsets[i-1].Quarter {
			out = append(out, m.SecondsAt(o.Quarter))
		}
	}
	return out
}

// Written is a score as a reader finds it on paper, before repeats are
// written out.
type Written struct {
	Title    string
	Measures []Measure
	PickUp   bool // the first measure is a pick-up to the next
	Parts    []WrittenPart
	Remarks  []string
}

// Measure is one written measure.
type Measure struct {
	Number string
	Meter  tempo.Meter // the signature in force
	Length float64     // quarters that are there; 0: as the signature says
	Tempos []Tempo     // in order
}

// Tempo is a tempo mark within a measure.
type Tempo struct {
	Quarter float64 // from the barline, less than the measure's length
	Unit    tempo.Unit
	BPM     float64 // of Unit
}

// WrittenPart has a part's notes as written.
type WrittenPart struct {
	Name   string
	Onsets []WrittenOnset // in the order of measures
}

// WrittenOnset is a note in a written measure.
type WrittenOnset struct {
	Measure int // index into Written.Measures
	Onset       // Quarter counts from the barline
}

// maxOnsets bounds the notes of a score with its repeats written out.
const maxOnsets = 2_000_000
