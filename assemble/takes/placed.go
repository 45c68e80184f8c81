package takes

import (
	"ripieno/mix/audio"
)

// Placed is one recording on guide time.
type Placed struct {
	Name       string   `json:"name"` // of the take
	File       string   `json:"file"`
	Role       string   `json:"role"` // video or audio
	Offset     float64  `json:"offset"`
	DriftPPM   float64  `json:"drift_ppm"`
	Confidence float64  `json:"confidence"` // 0 to 1
	Sure       bool     `json:"sure"`
	Method     string   `json:"method"`
	Evidence   []string `json:"evidence"`
	Reason     string   `json:"reason,omitempty"`  // why it is not sure
	LatenessMS *float64 `json:"lateness_ms"`       // of the playing against the clap, positive late; null when unknown
	Timing     string   `json:"timing"`            // what the manifest wants of it: tightened or as-played
	KeptMS     float64  `json:"kept_ms"`           // what of the lateness is still in the offset; 0 when tightened
	CueAt      *float64 `json:"cue_at"`            // where in the file the clap is; null when none was found
	CueOffset  *float64 `json:"cue_offset"`        // what the offset would be by the clap alone; null when none was found
	ErrorMS    *float64 `json:"expected_error_ms"` // one standard deviation; null when unknown
}

// Placed returns where the recording lies as --json prints it. timing is what the
// manifest wants of it.
func (r *Recording) Placed(timing string) Placed {
	pl := r.Place
	out := Placed{
		Name: r.Owner, File: r.File.Path, Role: string(r.Role), Offset: pl.Offset, DriftPPM: pl.DriftPPM,
		Confidence: pl.Confidence, Sure: pl.Sure, Method: pl.Method, Evidence: pl.Evidence, Reason: pl.Reason,
		LatenessMS: audio.Finite(pl.Lateness * 1000), Timing: timing, KeptMS: pl.Kept * 1000,
		CueAt: audio.Finite(pl.CueAt), CueOffset: audio.Finite(pl.CueOffset), ErrorMS: audio.Finite(pl.Uncertainty * 1000),
	}
	if out.Evidence == nil {
		out.Evidence = []string{}
	}
	return out
}
