// Package score is what a score file says about time, whatever its format:
// the tempo map's [tempo.Spec], where each part plays its notes, and remarks
// about what could not be kept. The packages smf and musicxml make it.
//
// Places are in quarter notes from the downbeat of measure 1, as in package
// tempo; a pick-up has negative ones. Measures are counted as played, with
// repeats written out.
package score

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"ripieno/mix/tempo"
)

// Score is the time of a piece as a file gives it.
type Score struct {
	Title string // may be empty
	// Spec has no count-in; the caller adds it. tempo.New accepts it.
	Spec    tempo.Spec
	Parts   []Part // those that have notes, in the order of the file
	Marks   []Mark // rehearsal marks and markers, as often as their measures are played
	Keys    []KeySpan
	Remarks []string // lower case; what a person should know before relying on it
	Hash    string   // SHA-256 of the file, as whoever opened it has counted; "" when nobody did

	written Written
	order   []int    // the measures that are played, indices into written.Measures
	signs   []string // remarks on where it goes on
}

// runs returns the order of runs of measures by their numbers on paper, both ends
// included. The pick-up is measure 0, whatever number the page gives it, and is played as
// well when the first run begins with the measure after it. An error names the run.
func (s *Score) runs(runs []tempo.Span) ([]int, error) {
	var order []int
	for _, r := range runs {
		from, to := s.run(r.From), s.run(r.To)
		for to >= 0 && to+1 < len(s.written.Measures) && s.written.Measures[to+1].Number == strconv.Itoa(r.To) {
			to++ // a measure that is split keeps its number
		}
		if from < 0 || to < from {
			return nil, fmt.Errorf("the score has no measures %d to %d", r.From, r.To)
		}
		if len(order) == 0 && from == 1 && s.written.PickUp {
			from = 0
		}
		for k := from; k <= to; k++ {
			order = append(order, k)
		}
		if len(order) > tempo.MaxMeasures {
			return nil, fmt.Errorf("more than %d measures as played", tempo.MaxMeasures)
		}
	}
	return order, nil
}

// run returns the measure with which a run begins or ends: the first of that number on
// paper, for 0 the pick-up where there is one; −1 for none.
func (s *Score) run(number int) int {
	if number == 0 && s.written.PickUp {
		return 0
	}
	return s.find(number)
}

// find returns the first measure of that number on paper, −1 for none.
func (s *Score) find(number int) int {
	return slices.IndexFunc(s.written.Measures, func(m Measure) bool { return m.Number == strconv.Itoa(number) })
}

// Order says which measures are played, by their numbers on paper: "1-8, 1-16". It is
// "" when they are played as the page has them.
func (s *Score) Order() string {
	if isStraight(s.order, len(s.written.Measures)) {
		return ""
	}
	var runs []string
	for i := 0; i < len(s.order); {
		j := i
		for j+1 < len(s.order) && s.order[j+1] == s.order[j]+1 {
			j++
		}
		from, to := s.written.Measures[s.order[i]].Number, s.written.Measures[s.order[j]].Number
		if from != to {
			from += "-" + to
		}
		runs, i = append(runs, from), j+1
	}
	return strings.Join(runs, ", ")
}

// isStraight reports whether an order is every measure once.
func isStraight(order []int, measures int) bool {
	for i, k := range order {
		if i != k {
			return false
		}
	}
	return len(order) == measures
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
	Wishes   []Wish
	Remarks  []string
}

// Measure is one written measure.
type Measure struct {
	Number string
	Meter  tempo.Meter // the signature in force
	Length float64     // quarters that are there; 0: as the signature says
	Free   bool        // that length is meant, and is no reason for a remark
	Tempos []Tempo     // in order
	Holds  []WrittenHold
	Mark   string // a rehearsal mark or marker here; ""
	Key    *Key   // a key signature here; nil for none
	Rest   bool   // no part sounds in it, as far as the file tells
	Signs
}

// Mark is a rehearsal mark at the beginning of a measure as played, 0 for the pick-up.
type Mark struct {
	Measure int
	Text    string
}

// Key is a key signature as it sounds.
type Key struct {
	Fifths int // sharps, below zero flats; −7 to 7
	Minor  bool
}

// KeySpan is a key from the beginning of a measure as played until the next span.
type KeySpan struct {
	Measure int // 0 for the pick-up
	Key
	Rest bool // no part sounds
}

// Tonic returns the pitch class of the key's tonic, 0 for C to 11 for B.
func (k Key) Tonic() int {
	tonic := 7 * k.Fifths
	if k.Minor {
		tonic += 9
	}
	return (tonic%12 + 12) % 12
}

// WrittenHold stops the beat at a place of a measure; see [tempo.Hold].
type WrittenHold struct {
	Quarter float64 // from the barline
	Seconds float64
}

// Tempo is a tempo mark within a measure.
type Tempo struct {
	Quarter float64 // from the barline, less than the measure's length
	Unit    tempo.Unit
	BPM     float64 // of Unit

	// To is the tempo in quarters a minute that a ramp reaches at End, which is in
	// the same measure or its end; 0 for none.
	To, End float64
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
