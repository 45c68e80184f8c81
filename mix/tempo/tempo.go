// Package tempo turns musical positions into seconds and back: meters,
// pick-up, count-in and cue, tempo changes, ramps and holds.
//
// A [Spec] is what a person writes; [New] checks all of it at once and gives a
// [Map], which is immutable and safe for use by several goroutines. The
// readers in the packages smf and musicxml below make a Spec from a score.
//
// # Clock and units
//
// Seconds are guide time: 0 is the first downbeat of the count-in, or without
// a count-in the first place of the piece (the pick-up when there is one).
// Score distance is counted in quarter notes; the downbeat of measure 1 is
// quarter 0, so that count-in and pick-up have negative quarters. All meters
// have a power of two below the line, so every barline is exact in float64
// whatever the length of the piece, and no error adds up.
//
// # What a beat is
//
// The beat of a [Meter] is the one that a conductor shows: half notes in 2/2,
// dotted quarters in 6/8, the unequal groups of 3+2/8. Positions and clicks
// count in it. The beat unit of a tempo is a separate thing: "quarter = 120"
// can stand in 6/8.
//
// # Ramps
//
// A ramp is linear in the score, not in time: r quarters after its start the
// tempo is v = v0 + k·r quarters a minute, with k = (v1 − v0)/length. The time
// since the start is the integral of dr/v in closed form,
//
//	t = 60/k · ln(1 + k·r/v0)      r = v0/k · (exp(k·t/60) − 1)
//
// which tends to t = 60·r/v0 as k goes to 0. Halfway through the measures of
// a ramp from 72 to 54 the tempo is 63, which is what players read from the
// page.
//
// # Not here
//
// The package makes no sound and reads no files. Repeats are written out:
// a measure is counted each time it is played; [Spec.Paper] says where the page
// has it.
package tempo

import (
	"errors"
	"fmt"
)

// Position is a place in the piece.
type Position struct {
	// Measure counts from 1. 0 is the pick-up measure when there is one.
	// The count-in has −1 for its last measure, −2 for the one before.
	Measure int
	// Beat counts from 1 in the meter's beats; fractions are parts of that
	// beat's length. In measure 0, 1 is where the pick-up begins.
	Beat float64
}

// String returns the position in words, "measure 33, beat 2.5".
func (p Position) String() string {
	if p.Beat == 1 {
		return fmt.Sprintf("measure %d", p.Measure)
	}
	return fmt.Sprintf("measure %d, beat %.6g", p.Measure, p.Beat)
}

// Spec describes the time of a piece as a person writes it.
type Spec struct {
	CountIn  CountIn
	PickUp   float64  // beats of the first meter before measure 1; 0: none
	Changes  []Change // in order; the first is where the piece begins
	Measures int      // measures of the piece without the pick-up, 1 to [MaxMeasures]
	Holds    []Hold
	// Paper says where the page has each measure, from measure 1. It is nil when
	// the page has them as they are played: 1, 2, 3 and so on.
	Paper []Place
}

// Place is where the page has a measure that is played.
type Place struct {
	Number string // as printed
	Pass   int    // how often it has been played by then, from 1
}

// String returns the number with the pass, "17/2" for the second time of measure 17.
func (p Place) String() string { return fmt.Sprintf("%s/%d", p.Number, p.Pass) }

// CountIn is what is clicked before the piece, in the piece's first meter and
// tempo. A pick-up sounds within its last measure, so that measure 1 always
// lies whole measures after the start.
type CountIn struct {
	Measures   int     // 0: no count-in
	CueMeasure int     // 1 is the first measure of the count-in; 0: [DefaultCue]
	CueBeat    float64 // a whole beat from 1; 0 with CueMeasure 0
	// Lead is how many seconds lie before it, for tuning notes; 0 to [MaxLead].
	Lead float64
	// Speed is its tempo in quarter notes a minute; 0: that of the piece's beginning. A
	// piece whose every beat has a tempo of its own needs it.
	Speed float64
}

// Change sets meter, tempo or both from one place on.
type Change struct {
	Measure int
	Meter   Meter   // zero: keep
	Beat    Unit    // what BPM and RampTo count; zero: the meter's own beat
	BPM     float64 // beats a minute; 0: keep, quarter notes keep their length
	RampTo  float64 // tempo at the end of a ramp that begins here; 0: none
	Until   int     // the ramp ends at the start of this measure

	// At and UntilBeat are beats within Measure and Until for tempo changes
	// that are not on a downbeat, as scores have them; 0 means 1. A meter
	// can only change on a downbeat.
	At        float64
	UntilBeat float64
}

// Hold stops the beat for some seconds (a fermata). Time is added after the
// note at At has begun: At keeps its place, all that follows moves.
type Hold struct {
	At      Position
	Seconds float64 // more than 0, at most [MaxHold]
}

// Limits of what New accepts. They are far above any music for ensembles and
// keep a hostile score from costing memory or time.
const (
	MaxMeasures = 10000
	MaxCountIn  = 64
	MinBPM      = 1.0    // beats a minute, in any unit
	MaxBPM      = 2000.0 // beats a minute, in any unit
	MaxHold     = 300.0  // seconds
	MaxLead     = 300.0  // seconds
)

// Error is one thing wrong with a [Spec].
type Error struct {
	Change  int    // index in Spec.Changes; −1: not about a change
	Hold    int    // index in Spec.Holds; −1: not about a hold
	Measure int    // of the piece; 0 when none is concerned
	Field   string // measure, meter, beat, bpm, ramp_to, until, measures, count_in, cue, pick_up, hold or changes
	What    string // lower case, names the measure where there is one
	Hint    string // what to do about it
}

// Error implements error; the hint is left to the caller.
func (e *Error) Error() string { return "tempo: " + e.What }

// Errors lists all the *Error values that err, as returned by [New], joins.
func Errors(err error) []*Error {
	var one *Error
	if joined, ok := err.(interface{ Unwrap() []error }); ok {
		var all []*Error
		for _, e := range joined.Unwrap() {
			all = append(all, Errors(e)...)
		}
		return all
	}
	if errors.As(err, &one) {
		return []*Error{one}
	}
	return nil
}

// DefaultCue returns the place of the cue in a count-in of that many measures when
// nobody chose one: the downbeat of measure 5 of 8 and 3 of 4 (common
// practice, no source), and in general of the first measure of its second
// half. It is 0, 0 for no count-in.
func DefaultCue(measures int) (measure int, beat float64) {
	if measures <= 0 {
		return 0, 0
	}
	return measures/2 + 1, 1
}
