// Package intake tells what is wrong with a take, how sure that is, and what
// to ask the player for.
//
// It works in two steps that do not mix. [Listen] and [Look] measure a file
// and return numbers, which can be kept beside the file and read again;
// [Judge] turns numbers into findings and reads nothing. Every threshold
// stands in one table with its reason, see [Table], and can be changed.
//
// A finding speaks about a recording, never about playing. Its words are for
// the player and are meant kindly: what was found, and what to do about it.
//
// Levels are dBFS (a full-scale square wave has 0), loudness is LUFS,
// brightness is the grey value from 0 (black) to 255 (white). Values that do
// not exist, such as the level of silence, are limited to [Floor], so that all
// numbers are finite.
package intake

import (
	"cmp"
	"slices"

	"ripieno/assemble/media"
	"ripieno/assemble/report/phrase"
	"ripieno/mix/align"
	"ripieno/mix/playing"
)

// Rule is the version of what [Listen] and [Look] measure. It belongs in the
// key of everything that is kept of them; judging is not kept.
const Rule = 8

// Floor is the level in decibels that stands for silence and everything below.
const Floor = -120.0

// Level is what a finding asks for.
type Level int

// The levels. OK is for information only; Ask means that the take can be used,
// but a better one would be worth a friendly question; Redo means that it
// cannot be used as it is.
const (
	OK Level = iota
	Ask
	Redo
)

// String returns "ok", "ask" or "redo".
func (l Level) String() string { return [...]string{"ok", "ask", "redo"}[max(OK, min(l, Redo))] }

// MarshalText writes the level as [Level.String] does.
func (l Level) MarshalText() ([]byte, error) { return []byte(l.String()), nil }

// Finding is one thing noticed about one file of a take.
type Finding struct {
	Code  Code    `json:"code"`
	Level Level   `json:"level"`
	Sure  float64 `json:"sure"`           // 0.5 (on the threshold) to 1
	Role  string  `json:"role,omitempty"` // "video", "audio", or "" for the take as a whole
	File  string  `json:"file,omitempty"`
	What  string  `json:"what"`          // what was found, with its number, in English
	Ask   string  `json:"ask,omitempty"` // what to ask the player, in English; "" when nothing
	// Said is What before it is in a language; see also [Finding.Question].
	Said phrase.Message `json:"-"`
}

// Facts is all that is known about one take.
type Facts struct {
	Take     string `json:"take"`
	Expected bool   `json:"expected,omitempty"` // nothing has come yet, and that is known
	Piece    *Piece `json:"piece,omitempty"`    // nil: starts and ends are not judged
	// Shape is the width of a tile over its height; 0 is 16:9.
	Shape float64 `json:"shape,omitempty"`
	// Framed tells that the user has said which part of the picture is shown,
	// or that all of it is, so that nothing is left to ask about its shape.
	Framed bool   `json:"framed,omitempty"`
	Files  []File `json:"files"`
}

// Piece is where the music lies in guide time, in seconds.
type Piece struct {
	Cue   float64 `json:"cue"` // the beat on which all clap; Start when there is none
	Start float64 `json:"start"`
	End   float64 `json:"end"`
	// BPM is how many beats a minute the guide has; 0 when that changes.
	BPM float64 `json:"bpm,omitempty"`
}

// File is what is known about one recording. Parts that were not measured are
// nil and are not judged.
type File struct {
	Role    string         `json:"role"` // "video" (a picture is wanted) or "audio"
	Name    string         `json:"name"` // as in the manifest
	Err     error          `json:"-"`    // why it could not be opened; the rest is empty then
	Info    media.Info     `json:"info"`
	Decoded *media.Decoded `json:"decoded,omitempty"`
	Sound   *Sound         `json:"sound,omitempty"`
	Picture *Picture       `json:"picture,omitempty"`
	Sync    *Sync          `json:"sync,omitempty"`
	// Breaks are places at which the recording is not one piece of time.
	Breaks []Break `json:"breaks,omitempty"`
	// TrueRate is the rate in hertz of a sound that is labelled wrongly; 0: it is not.
	TrueRate int `json:"true_rate,omitempty"`
	// Pace is nil also for a file whose place is certain by more than a clap.
	Pace *playing.Pace `json:"pace,omitempty"`
	// Hash is the content's; two files with the same one are duplicates.
	Hash string `json:"hash,omitempty"`
	// Levels are the loudness every 10 ms in half decibels, as package align
	// keeps it; two recordings with the same are one.
	Levels []uint8 `json:"-"`
}

// Sync is what alignment found out about a file.
type Sync = align.Placement

// Worst returns the highest level among findings, OK for none.
func Worst(findings []Finding) Level {
	worst := OK
	for _, f := range findings {
		worst = max(worst, f.Level)
	}
	return worst
}

// sortFindings puts the worst first, then the surest, then by file and code.
func sortFindings(findings []Finding) {
	slices.SortStableFunc(findings, func(a, b Finding) int {
		return cmp.Or(cmp.Compare(b.Level, a.Level), cmp.Compare(b.Sure, a.Sure),
			cmp.Compare(a.Role, b.Role), cmp.Compare(a.Code, b.Code))
	})
}
