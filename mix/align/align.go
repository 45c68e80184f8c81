// Package align finds where every file of every take lies against the guide.
//
// [Analyse] listens to one file once and keeps a small description of it.
// [MatchDevices] compares two devices that recorded the same player, sample
// by sample. [Place] takes the descriptions of all files, the matches and the
// tempo map and decides for all of them together.
//
// A placement answers two questions. Which place in the piece is the file's? Every
// possible place is weighed by whether a burst stands alone where all should clap,
// whether sounds begin on the beats and not between them, whether there is sound
// in the piece and quiet round it, and, for what that leaves open, by the harmony and
// the rhythm of the takes that are sure already. A clear clap that stands alone can
// be overruled by another sound like a clap only. [Placement.Confidence] is the
// probability of the place, and its Candidates are the best three. Where exactly
// does the file lie there? That the file's own clap and playing decide and nobody
// else's, so a late take never moves another; [Placement.Uncertainty] is the error to
// expect. A note counts from when it is heard, not from when it starts.
//
// Different parts are never compared as waveforms, since that gives confident
// wrong answers. A take whose playing fits another tempo far better is never sure.
//
// A placement is two numbers: guide = Offset + t·(1 + DriftPPM·1e-6), t being
// seconds of the file and guide seconds since the first sample of the click
// track. [Placement.Sure] says whether it may be used without asking. A file that
// is placed wrongly and called sure is the worst that can happen here; one that is
// asked about without need is a fault as well, and both are counted (README.md).
//
// The package reads no files, draws nothing and knows nothing of pictures. It
// is deterministic and independent of the order of its inputs.
package align

// Recording is one file of a take. At most one of CueAt and Offset is set.
type Recording struct {
	Name     string // unique among the recordings given to Place
	Take     string // recordings of one take hold the same performance
	Role     string // "video" or "audio"
	Features *Features

	// Onsets are the guide times at which the notes of this player's part are
	// written to begin, where a score says so. They are evidence, not the law:
	// when the playing does not follow them they are left aside.
	Onsets []float64

	CueAt    *float64 // seconds of the file at which the cue sounds, fixed by the user
	Offset   *float64 // guide time at the file's time zero, fixed by the user
	DriftPPM *float64 // fixed by the user

	// AsPlayed keeps how late or early the player plays against their own cue:
	// the cue is put on its beat, not the mean of the playing.
	AsPlayed bool
}

// Pair ties two recordings of one take together.
type Pair struct {
	A, B  string // names of recordings
	Match Match  // B against A
}

// Placement is where one recording lies and how well that is known. Numbers
// that do not exist are NaN, an unknown uncertainty is +Inf: neither has a form
// in JSON.
type Placement struct {
	Name     string
	Offset   float64 // guide time at the file's time zero, seconds
	DriftPPM float64 // the file's clock against the guide's

	// Confidence, 0..1, is the probability that the file lies at the right place
	// in the piece. How exactly it lies there, Uncertainty says.
	Confidence float64
	Sure       bool // the placement may be used without asking
	Method     Method
	Evidence   []string
	Reason     string // why not sure, and what to do; empty when sure

	// CueOffset is the offset at which the cue sound lies exactly on its
	// beat, NaN when no cue was found. Offset puts the mean of the playing on
	// the beats where that could be measured, unless the recording is AsPlayed.
	CueOffset float64
	// CueAt is the file time of the cue sound, NaN when none was found.
	CueAt float64
	// Lateness is how late the playing is when the cue sound is put on its
	// beat, seconds: CueOffset - Offset at the middle of the playing. NaN when
	// either is unknown.
	Lateness float64
	// Kept is the part of Lateness, in seconds, that is still in Offset because
	// the recording is AsPlayed.
	Kept float64
	// Uncertainty is the expected error of Offset in seconds (one standard
	// deviation) given that the right beat was found.
	Uncertainty float64
	// Candidates are the likeliest places, the best first: one that is sure has
	// them too, one that the user fixed has none.
	Candidates []Candidate
	// ClickDB is the level in dBFS of clicks of the guide that leaked into the
	// file, as heard in the count-in; NaN when none were.
	ClickDB float64
	// ClickOffset is the offset at which those clicks sound exactly on their beats; NaN
	// when none were heard clearly.
	ClickOffset float64

	// OtherTempo is the tempo, over the guide's, that the playing fits far better:
	// such a take is not sure. 0 when there is none.
	OtherTempo float64
	// Former is set by the caller for a take that was played to a guide of before, which Reason
	// then tells; see [CompareGuides].
	Former bool
	// Remembered is what a person would be asked, were the place not remembered to be sure; see
	// [Placement.Remember]. It is empty for all others.
	Remembered string

	begunLate bool    // the file begins after the cue
	byNote    bool    // its cue rises as a note does
	offBeat   bool    // its playing hardly lies on the guide's beats
	fit       float64 // how well its notes lie on the beats, in scatters
	split     float64 // see [playing]
}
