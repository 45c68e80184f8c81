package takes

import (
	"ripieno/assemble/intake"
	"ripieno/assemble/production"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// Placed is one recording on guide time.
type Placed struct {
	Name       string  `json:"name"` // of the take
	File       string  `json:"file"`
	Role       string  `json:"role"` // video or audio
	Offset     float64 `json:"offset"`
	DriftPPM   float64 `json:"drift_ppm"`
	Confidence float64 `json:"confidence"` // 0 to 1
	// BeatConfidence is the probability, 0 to 1, that this is the right place in the piece;
	// how exactly the recording lies there, ErrorMS says. Confidence is the same value.
	BeatConfidence float64      `json:"beat_confidence"`
	Sure           bool         `json:"sure"`
	Method         align.Method `json:"method"`
	Evidence       []string     `json:"evidence"`
	Reason         string       `json:"reason,omitempty"` // why it is not sure
	// of the playing against the clap, positive late; null when unknown
	LatenessMS *float64          `json:"lateness_ms"`
	Timing     production.Timing `json:"timing"` // what the manifest wants of it
	// what of the lateness is still in the offset; 0 when tightened
	KeptMS float64 `json:"kept_ms"`
	// where in the file the clap is; null when none was found
	CueAt *float64 `json:"cue_at"`
	// what the offset would be by the clap alone; null when none was found
	CueOffset *float64 `json:"cue_offset"`
	ErrorMS   *float64 `json:"expected_error_ms"` // one standard deviation; null when unknown
	// OtherTempo is the tempo over the guide's that the playing fits far better; 0: none.
	OtherTempo float64 `json:"other_tempo,omitempty"`
	// Parts are the stretches of the file that are one piece of time each, as the
	// manifest writes them; none for a file that is one. Breaks say what was found.
	Parts  []Part         `json:"parts,omitempty"`
	Breaks []intake.Break `json:"breaks,omitempty"`
	// SampleRate is the true rate of a sound that is labelled LabelledRate.
	SampleRate   int `json:"sample_rate,omitempty"`
	LabelledRate int `json:"labelled_rate,omitempty"`
	// Candidates are the likeliest places, the best first, numbered from 1 for
	// --accept; none where the manifest fixes the place.
	Candidates []Candidate `json:"candidates"`
	// Remembered is what a person would be asked of a place that was sure in an earlier run and
	// is kept so; none for all others.
	Remembered string `json:"remembered,omitempty"`
	// Question is what a person has to decide, in one line; "" where the place is sure.
	Question string `json:"-"`
}

// Part is a stretch of a recording that is one piece of time.
type Part struct {
	From  float64  `json:"from"`  // seconds of the file
	To    *float64 `json:"to"`    // null: the end of the file
	Shift float64  `json:"shift"` // seconds by which it lies later than by the file's own time
}

// Candidate is a place where a recording may lie.
type Candidate struct {
	Number   int      `json:"number"` // from 1
	Offset   float64  `json:"offset"` // what offset and drift_ppm would be
	DriftPPM float64  `json:"drift_ppm"`
	At       float64  `json:"at"`   // seconds of the file: the clap, or else the first note
	By       string   `json:"by"`   // "cue" or "first note"
	Odds     float64  `json:"odds"` // 0 to 1
	Evidence []string `json:"evidence"`
}

// candidates returns the places of a recording for people and programs.
func candidates(list []align.Candidate) []Candidate {
	out := []Candidate{}
	for i, c := range list {
		by := "first note"
		if c.ByCue {
			by = "cue"
		}
		out = append(out, Candidate{Number: i + 1, Offset: c.Offset, DriftPPM: c.DriftPPM, At: c.At, By: by,
			Odds: c.Odds, Evidence: c.Evidence})
	}
	return out
}

// Placed returns where the recording lies as --json prints it. timing is what the
// manifest wants of it. What is not known is null, since JSON has no NaN.
func (r *Recording) Placed(timing production.Timing) Placed {
	pl := r.Place
	out := Placed{
		Name: r.Owner, File: r.File.Path, Role: string(r.Role), Offset: pl.Offset, DriftPPM: pl.DriftPPM,
		Confidence: pl.Confidence, BeatConfidence: pl.Confidence, OtherTempo: pl.OtherTempo,
		Candidates: candidates(pl.Candidates),
		Sure:       pl.Sure, Method: pl.Method, Evidence: pl.Evidence, Reason: pl.Reason,
		LatenessMS: audio.Finite(pl.Lateness * 1000), Timing: timing, KeptMS: pl.Kept * 1000,
		Question: pl.Question(), Remembered: pl.Remembered,
		CueAt: audio.Finite(pl.CueAt), CueOffset: audio.Finite(pl.CueOffset),
		ErrorMS: audio.Finite(pl.Uncertainty * 1000),
	}
	for _, p := range r.Parts {
		out.Parts = append(out.Parts, Part{p.From, audio.Finite(p.To), p.Shift})
	}
	out.Breaks = r.Broken
	if a := r.Info.Audio; a != nil && r.Rate > 0 && r.Rate != a.Rate {
		out.SampleRate, out.LabelledRate = r.Rate, a.Rate
	}
	if out.Evidence == nil {
		out.Evidence = []string{}
	}
	return out
}
