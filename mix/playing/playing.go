// Package playing describes how a take was played: how its notes lie about the
// beats measure by measure, how it is tuned against the reference pitch, and
// where nothing sounds although something is expected.
//
// It is a help for whoever conducts, who knows the music and the people. It
// gives no marks and adds nothing up over players: what it finds are numbers
// with the reasons to doubt them beside them.
//
// The work has two steps. [Listen] reads a recording once and keeps its steady
// tones, which belong to the file alone. [Compare] takes the tones and the
// onsets (package align) of all takes with their places on guide time and
// describes every take; it is quick and depends on its arguments only.
//
// It stands beside package align and not inside it: placing decides where a
// file lies and has to be right for every kind of sound, while what is said
// here may be left unsaid when it is not known.
//
// Times are seconds of guide time unless a name says file; lateness is positive
// when late. Pitches are MIDI note numbers with fractions, 69 being 440 Hz (ISO
// 16), and cents are hundredths of such a step. Values that are not known are
// NaN.
package playing

import (
	"math"

	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// Take is what Compare needs to know of one take.
type Take struct {
	Name string
	Part string // takes of one part are expected to sound in the same measures; "" is nobody's
	// Features and Tones are those of the recording that is heard.
	Features *align.Features
	Tones    *Tones
	Clock    audio.Clock // of that recording
	// From and To bound the guide time for which the take was recorded and is
	// not trimmed away; Quiet are parts of it that were muted.
	From, To float64
	Quiet    []Span
	// Score is what the score has for the take, in order of time; nil when
	// there is none.
	Score []Note
}

// Span is a stretch of guide time.
type Span struct{ From, To float64 }

// Note is a note of the score.
type Note struct {
	At   float64 // guide time of its beginning
	MIDI int     // as it sounds; negative when the score has no pitch for it
}

// Report describes how one take was played.
type Report struct {
	Name     string
	Timing   Timing
	Tuning   Tuning
	Measures []Measure // of the piece, from measure 1
	Missed   []Missed  // in order
}

// Timing is how the notes lie about the beats once the take's own steady
// lateness is taken off.
type Timing struct {
	Notes int // used
	// Spread is the robust standard deviation of single notes, seconds; NaN
	// with fewer than 8 notes.
	Spread float64
	// Soft says that notes begin too gradually (slow bow, voice) for Spread to
	// be taken to a few milliseconds.
	Soft bool
}

// Measure is one measure of the piece.
type Measure struct {
	Notes int
	// Off is how far the notes lie from where the take's steady lateness puts
	// them, as a standard deviation: robust from three notes on, the root of
	// the mean square of fewer; seconds, NaN without notes.
	Off float64
	// Late is their mean against the take's steady lateness, seconds; NaN
	// without notes.
	Late float64
	// Sounds says whether anything is heard; Expected whether there is a reason
	// to expect it (see [Missed.Why]).
	Sounds, Expected bool
}

// Reasons to expect a sound.
const (
	ByScore  = "score"  // the score has a note there
	ByPart   = "part"   // those who play the same part sound there
	ByOthers = "others" // all others sound there
)

// Missed is a run of measures in which nothing sounds.
type Missed struct {
	From, To int // measures, both included
	// Why a sound is expected: ByScore, ByPart or ByOthers. The score knows;
	// the other two are reasons to listen, since a part may well rest there.
	Why string
}

// Tuning is how the steady tones lie against the tempered scale on the
// reference pitch.
type Tuning struct {
	// Cents is the middle of the deviations: positive is sharp. Against the
	// nearest tempered note it lies between −50 and 50, against a score
	// between −150 and 150. NaN when too little was steady.
	Cents   float64
	Spread  float64 // robust standard deviation of single tones, cents
	Tones   int
	Seconds float64 // of steady tone
	Score   bool    // against the notes of the score
}

// Known reports whether there was enough to say anything.
func (t Tuning) Known() bool { return !math.IsNaN(t.Cents) }
