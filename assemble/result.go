package assemble

import (
	"ripieno/assemble/demo"
	"ripieno/assemble/guide"
	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/roll"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/stems"
	"ripieno/assemble/takes"
)

// The types in this file are what the verbs return and, encoded as JSON, what
// --json prints. Field names and units are part of the interface: times in
// seconds, levels in decibels, sizes in pixels. Fields are added, never renamed.

// Placed is one recording on guide time.
type Placed = takes.Placed

// GuideChange is a guide that was made otherwise than the manifest says now.
type GuideChange = guide.Change

// GuideRuns joins the measures of a guide for a table.
func GuideRuns(list []guide.Measure) []guide.Run { return guide.Runs(list) }

// What `check` and `rollcall` return.
type (
	CheckResult = roll.Check
	RollResult  = roll.Roll
)

// SyncResult is what `sync` found.
type SyncResult struct {
	Takes  []Placed  `json:"takes"`
	File   string    `json:"file"`             // the sync.yaml that was written
	PNG    []string  `json:"png"`              // the picture of where all takes lie, and its further pages
	Tasks  TaskCount `json:"tasks"`            // what was measured, and what was known
	Pinned int       `json:"pinned,omitempty"` // values written to the manifest
	// Accepted is how many candidates were written to the manifest; Takes says
	// where they lay before.
	Accepted int             `json:"accepted,omitempty"`
	Snippets []takes.Snippet `json:"snippets,omitempty"`
	// Guides are those that were made otherwise than the manifest says now.
	Guides []GuideChange `json:"guides_changed,omitempty"`
	Faults []Bad         `json:"faults,omitempty"`
}

// The parts of a GridResult.
type (
	GridCanvas = picture.CanvasResult
	GridShot   = picture.ShotResult
	GridTile   = picture.TileResult
)

// GridResult is the plan of one deliverable's picture.
type GridResult struct {
	Name        string       `json:"name"`
	Canvas      GridCanvas   `json:"canvas"`
	FPS         float64      `json:"fps"`
	GuideAtZero float64      `json:"guide_at_zero"`
	Duration    float64      `json:"duration"`
	Shots       []GridShot   `json:"shots"`
	PNG         string       `json:"png,omitempty"`
	SVG         string       `json:"svg,omitempty"`
	Sheet       string       `json:"sheet,omitempty"`  // the storyboard
	Crops       string       `json:"crops,omitempty"`  // what is shown of each take's picture
	Pinned      int          `json:"pinned,omitempty"` // seats written to the manifest
	Others      []GridResult `json:"others,omitempty"` // further deliverables
	Faults      []Bad        `json:"faults,omitempty"`
}

// The parts of a MixResult.
type (
	MixStrip  = soundtrack.StripResult
	MixLift   = soundtrack.Lift
	MixCurve  = soundtrack.Curve
	MixMaster = soundtrack.MasterResult
)

// MixStem is one stem: of a take, or of a section when Take is empty.
type MixStem = stems.Copied

// MixStage is the sound before and after one step of the mix, equally loud: two files to
// compare. The first step has nothing before it.
type MixStage struct {
	Stage  string `json:"stage"`
	Before string `json:"before,omitempty"`
	After  string `json:"after"`
}

// MixResult is the finished mix.
type MixResult struct {
	Loudness      *float64   `json:"integrated_lufs"` // null for silence
	TruePeak      *float64   `json:"true_peak_dbtp"`
	Range         *float64   `json:"lra"`
	WAV           string     `json:"wav"`
	Levels        string     `json:"levels_png"`
	Duration      float64    `json:"duration"`
	TimeReference uint64     `json:"time_reference"` // of the WAV: samples since guide time 0
	Strips        []MixStrip `json:"strips"`
	Stems         []MixStem  `json:"stems,omitempty"`
	Stages        []MixStage `json:"stages,omitempty"`
	Removed       []string   `json:"removed_stems,omitempty"` // of an earlier mix, no part of this one
	Master        MixMaster  `json:"master"`
	Curve         MixCurve   `json:"curve"`
	Tasks         TaskCount  `json:"tasks"`
	Notes         []string   `json:"notes,omitempty"`
	Releases      []Bad      `json:"releases,omitempty"` // what is open before this may be published
	Faults        []Bad      `json:"faults,omitempty"`
}

// ExportResult is what was written down for whoever goes on elsewhere.
type ExportResult struct {
	Dir      string    `json:"dir"`
	Timeline string    `json:"timeline"` // OpenTimelineIO
	Edits    []string  `json:"edits"`    // edit lists, CMX 3600: of takes, then of films
	Tempo    string    `json:"tempo"`    // MIDI
	Offsets  string    `json:"offsets"`  // comma-separated values
	Stems    []MixStem `json:"stems"`
	Removed  []string  `json:"removed,omitempty"` // files of an earlier export that are no part of this one
	Notes    []string  `json:"notes,omitempty"`   // on those that were changed since and are left
	Tasks    TaskCount `json:"tasks"`
	Releases []Bad     `json:"releases,omitempty"` // what is open before this may be published
	Faults   []Bad     `json:"faults,omitempty"`
}

// FilmResult is one finished film.
type FilmResult struct {
	Name   string `json:"name"`
	Output string `json:"output"`
	Canvas string `json:"canvas"`
	Frames int    `json:"frames"`
	// Encoder is what ffmpeg calls the encoder that was used.
	Codec   plan.Codec `json:"codec"`
	Encoder string     `json:"encoder"`
	Poster  string     `json:"poster,omitempty"`
	// Flashes is the worst second of the picture; nil for a rough cut.
	Flashes  *picture.Flashes `json:"flashes,omitempty"`
	Notes    []string         `json:"notes,omitempty"` // programme notes, WebVTT and SRT
	Duration float64          `json:"duration"`
}

// RenderResult is what `rough` and `render` made. The first fields are those
// of the first film.
type RenderResult struct {
	Output   string       `json:"output"`
	Frames   int          `json:"frames"`
	Duration float64      `json:"duration"`
	Tasks    TaskCount    `json:"tasks"`
	Wall     float64      `json:"wall_s"`
	Loudness *float64     `json:"integrated_lufs"`
	TruePeak *float64     `json:"true_peak_dbtp"`
	Films    []FilmResult `json:"films"`
	Releases []Bad        `json:"releases,omitempty"` // what is open before this may be published
	Faults   []Bad        `json:"faults,omitempty"`
}

// NewResult is what `new` wrote.
type NewResult struct {
	Manifest  string   `json:"manifest"`
	Takes     int      `json:"takes"`
	Score     string   `json:"score,omitempty"` // that the tempo is from
	Unguessed []string `json:"unguessed"`
	Remarks   []string `json:"score_remarks,omitempty"` // what to know of the score
}

// CleanResult is what `clean` removed.
type CleanResult struct {
	Bytes   int64 `json:"bytes"`
	Entries int   `json:"entries"`
}

// DemoResult is what `demo` made.
type DemoResult struct {
	Dir      string          `json:"dir"`
	Truth    []demo.TruthRow `json:"truth"`
	MedianMS float64         `json:"median_error_ms"`
	WorstMS  float64         `json:"worst_error_ms"`
	Grid     string          `json:"grid"`
	Rough    RenderResult    `json:"rough"`
	Final    RenderResult    `json:"final"`
}
