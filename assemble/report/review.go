package report

import (
	"html/template"
	"io"
	"slices"
	"sync"
	"time"

	"ripieno/assemble/report/phrase"
	"ripieno/mix/align"
)

// Levels of a take and of a finding.
const (
	LevelOK      = "ok"      // usable as it is
	LevelAsk     = "ask"     // usable, and worth a friendly question
	LevelRedo    = "redo"    // not usable as it is
	LevelMissing = "missing" // not in yet; of takes only
)

// Review is what the report page says: everything that whoever puts the
// production together wants to see of the takes. Empty texts are left out.
type Review struct {
	Words                     *phrase.Book // of the page; nil is English
	Title, Composer, Ensemble string
	Due                       string    // in words, when it is no date
	DueDay                    time.Time // zero when it is none
	DueClock                  string    // "20:00", "" when it has no time of day
	SendTo                    string    // where new recordings go, as the manifest says
	From                      string    // who signs the notes to players
	// Span is the guide time that the staves show, Start the beginning of
	// measure 1 and Bars the beginning of every measure and the end, seconds.
	Span  [2]float64
	Start float64
	Bars  []float64
	// Names are what measures are called, from measure 1, where that is not always their
	// number: "21 (17/2)" is on the page measure 17 for the second time.
	Names []string
	Film  *Film // nil: there is no rough cut yet
	Takes []Reviewed
	// Guides tells of guides that are not as the manifest says now.
	Guides []Notice
	// Score is what to know of the score, in English.
	Score []string
	// Playing says whether takes have theirs, which a person can switch off.
	Playing bool
	PitchHz float64 // what tuning is measured against
	// Remarks are those on the film, in the order of the music; Approvals tell who found
	// which film good.
	Remarks   []Said
	Approvals []Approved
	// Withheld is how many takes are not on the page because their players
	// released nothing.
	Withheld int
}

// Notice is something to know of the production as a whole, and what to do.
type Notice struct{ What, Hint string }

// Film is the rough cut, by a name relative to the page. AtZero is the guide
// time at its beginning, in seconds.
type Film struct {
	Name   string
	AtZero float64
}

// Reviewed is one take.
type Reviewed struct {
	Name                  string // of the take
	Player, Part, Section string
	Words                 *phrase.Book // of the note to the player; nil is that of the page
	Level                 string       // one of the levels
	Files                 []string
	Findings              []Found // worst first
	// Picture is one upright frame as JPEG, W by H pixels; nil for none.
	Picture []byte
	W, H    int
	// Wave is the loudness over Review.Span in equal steps, 0 to 1; steps where
	// there is no recording are negative. nil: it is not known where the
	// recording lies.
	Wave []float64
	// Guess says that Wave is drawn at the likeliest of several places.
	Guess bool
	// LeftOut says that the film does without the take as it is now: nobody knows
	// where it lies, or it lies beside the film, cannot be read or may not be used.
	// Partly says that of its picture alone.
	LeftOut, Partly bool
	Places          []Place
	Levels          []Loudness
	Cleaned         *Cleaned // nil: the mix leaves its sound as it is
	Hidden          []Hidden // how far the others of the mix cover it; none where it is heard
	Blended         *Blended // by what it is louder or softer in the ensemble; nil: by nothing
	Playing         *Playing // nil: not measured
	// Release is what may be published of the take: "yes", "audio-only", "no" or
	// "missing"; "" says nothing of it. Without a release of the picture the page
	// shows none either.
	Release string
}

// Unsure reports whether it has to be decided where a file of the take lies.
func (t Reviewed) Unsure() bool {
	return slices.ContainsFunc(t.Places, func(p Place) bool { return !p.Sure })
}

// Found is one finding of a take.
type Found struct {
	Level string  // one of the levels but LevelMissing
	Sure  float64 // 0.5 to 1
	File  string  // "" for the take as a whole
	What  string  // what was found
	Ask   string  // what to ask the player; "" for nothing
	// Request is Ask in the player's own language; "" when it is that of the page.
	Request string
}

// Place is where one file lies on guide time and why.
type Place struct {
	File string
	Role string // video or audio
	align.Placement
	LateMS *float64 // playing against clap, positive late; nil when unknown
}

// Loudness is how loud one file is as recorded; absent values are nil.
type Loudness struct {
	File             string
	LUFS, Peak, Back *float64 // integrated, highest sample (dBFS), quietest moments (dBFS)
}

// Cleaned is what the mix does to a take's sound by itself, in decibels.
type Cleaned struct {
	Closed         float64 // share of the film in which it is closed
	Reduced        float64 // of the noise under the playing, at most
	Hum            string  // the lines of the mains' hum that are taken out, hertz; empty: none
	Rumble         float64 // what lies below is cut, hertz; 0: nothing
	TurnedUp       float64 // by its own level control where nobody plays; 0: that is not seen
	Lows, Presence float64 // added to the colour of the phone that recorded it
	Drawn          float64 // share of its samples that were clipped and are drawn again, 0 to 1
}

// Hidden is how far the others of the mix cover a take.
type Hidden struct {
	Melody   bool    // of what it has of the melody; else of all that its part plays
	Share    float64 // of the time in which it plays, 0 to 1
	Lift     float64 // dB that would bring most of it out
	From, To int     // measures of the longest stretch; 0: none of two seconds
}

// Blended is by what a take is louder or softer than the others as an ensemble has it, in decibels.
type Blended struct {
	Instrument, Register float64
	Moves                []Moved // the largest by its role
	More                 bool    // there are others besides
}

// Moved is a change of level by what a take is in a phrase.
type Moved struct {
	Role     string // melody, bass or fill
	Gain     float64
	From, To int // measures
}

// Playing is how a take was played.
type Playing struct {
	Notes    int      // whose beginnings were used
	SpreadMS *float64 // of single notes; nil when unknown
	Soft     bool     // notes begin too gradually to be exact
	// Measures are from measure 1: how far off in ms the notes are, NaN where
	// there are none.
	Measures []float64
	Missed   []Gap
	Cents    *float64 // median against the reference; nil when unknown
	CentsOff *float64 // spread of single tones
	Tones    int
	Score    bool // compared with the notes of the score
}

// Gap is a run of measures without a sound where one is expected. Why is
// "score", "part" or "others".
type Gap struct {
	From, To int
	Why      string
}

var reviewPage = sync.OnceValue(func() *template.Template {
	return page("report.html", "report.css", "copy.js", "report.js")
})

// WriteReview writes a review as one page. The same review gives the same bytes.
func WriteReview(w io.Writer, r Review) error { return reviewPage().Execute(w, r.view()) }
