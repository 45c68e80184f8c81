package assemble

import "ripieno/assemble/intake"

// The types in this file are what the verbs return and, encoded as JSON, what
// --json prints. Field names and units are part of the interface: times in
// seconds, levels in decibels, sizes in pixels. Fields are added, never renamed.

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

// SyncResult is what `sync` found.
type SyncResult struct {
	Takes  []Placed  `json:"takes"`
	File   string    `json:"file"`             // the sync.yaml that was written
	PNG    []string  `json:"png"`              // the picture of where all takes lie, and its further pages
	Tasks  TaskCount `json:"tasks"`            // what was measured, and what was known
	Pinned int       `json:"pinned,omitempty"` // values written to the manifest
	Faults []Bad     `json:"faults,omitempty"`
}

// Bad is a take that could not be used, in the words of its fault.
type Bad struct {
	Take string `json:"take"`
	What string `json:"what"`
	Hint string `json:"hint,omitempty"`
	Kind string `json:"kind"` // missing, unreadable, unplaced, short, rejected or release
}

// Box is a rectangle in pixels.
type Box struct {
	X int `json:"x"`
	Y int `json:"y"`
	W int `json:"w"`
	H int `json:"h"`
}

// GridTile is one tile of a shot.
type GridTile struct {
	Take   string `json:"take"` // "" for one of which nothing may be made
	X      int    `json:"x"`
	Y      int    `json:"y"`
	W      int    `json:"w"`
	H      int    `json:"h"`
	Fit    string `json:"fit"`
	Source *Box   `json:"source"`         // nil when no picture is shown
	Card   string `json:"card,omitempty"` // why a card stands here
	// AutoCrop is how sure crop: auto is of the player's place, 0 to 1; too
	// little of it leaves the middle.
	AutoCrop float64 `json:"auto_crop_confidence,omitempty"`
}

// GridShot is one shot on output time.
type GridShot struct {
	From  float64    `json:"from"`
	To    float64    `json:"to"`
	Show  string     `json:"show"`
	Tiles []GridTile `json:"tiles"`
	// How the shot takes over from the one before: cut, dissolve or move, and
	// how many seconds before From that begins.
	Transition        string  `json:"transition"`
	TransitionSeconds float64 `json:"transition_s,omitempty"`
	// Sheet of Sheets, from 1, when the tiles would have been too small on one.
	Sheet  int `json:"sheet,omitempty"`
	Sheets int `json:"sheets,omitempty"`
}

// GridCanvas is the size of a film.
type GridCanvas struct {
	W int `json:"w"`
	H int `json:"h"`
}

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
	Pinned      int          `json:"pinned,omitempty"` // seats written to the manifest
	Others      []GridResult `json:"others,omitempty"` // further deliverables
	Faults      []Bad        `json:"faults,omitempty"`
}

// MixStrip is one strip of a finished mix.
type MixStrip struct {
	Take         string    `json:"take"`
	Section      string    `json:"section,omitempty"`
	Gain         float64   `json:"gain_db"`         // everything applied: manifest, section and balance
	Pan          float64   `json:"pan"`             // −100 to 100
	Loudness     *float64  `json:"integrated_lufs"` // as recorded; null for silence
	Peak         *float64  `json:"peak_dbfs"`       // largest sample as recorded
	Noise        *float64  `json:"noise_lufs"`      // as recorded; null when it is not known
	Mixed        *float64  `json:"mixed_lufs"`      // in the mix: treated and with its gain
	Send         *float64  `json:"send_db"`         // to the room, beside what every take sends; null: nothing
	Width        float64   `json:"width"`           // of a stereo recording; 1 as recorded
	LowCut       float64   `json:"low_cut_hz"`      // 0: none
	Lifts        []MixLift `json:"lifts,omitempty"`
	DelaySamples int64     `json:"delay_samples"` // guide sample of the file's time zero
	Notes        []string  `json:"notes,omitempty"`
}

// MixLift is a span of guide time in which a soloist is lifted.
type MixLift struct {
	From float64 `json:"from"`
	To   float64 `json:"to"`
	Gain float64 `json:"gain_db"`
}

// MixStem is one stem: of a take, or of a section when Take is empty.
type MixStem struct {
	Take    string `json:"take,omitempty"`
	Section string `json:"section,omitempty"`
	File    string `json:"file"`
}

// MixCurve is the master's loudness over time: values every Step seconds, the
// first at the end of the first step; null for silence.
type MixCurve struct {
	Step      float64    `json:"step"`
	Momentary []*float64 `json:"momentary_lufs"`
	ShortTerm []*float64 `json:"short_term_lufs"`
}

// MixMaster is what mastering did.
type MixMaster struct {
	Target    float64  `json:"target_lufs"`
	Ceiling   float64  `json:"ceiling_dbtp"`
	Sum       *float64 `json:"sum_lufs"` // of all strips, before mastering
	Gain      float64  `json:"gain_db"`
	Reduction float64  `json:"reduction_db"` // deepest cut of the limiter
	Limited   float64  `json:"limited"`      // share of the time in which it cut
	Reached   bool     `json:"reached"`
	Tries     int      `json:"tries"`                   // encodings
	AAC       *float64 `json:"encoded_integrated_lufs"` // what is heard with the films
	AACPeak   *float64 `json:"encoded_true_peak_dbtp"`
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

// TaskCount is how much work a run did.
type TaskCount struct {
	Run    int `json:"run"`
	Reused int `json:"reused"`
}

// FilmResult is one finished film.
type FilmResult struct {
	Name   string `json:"name"`
	Output string `json:"output"`
	Canvas string `json:"canvas"`
	Frames int    `json:"frames"`
	// Codec is h264, hevc or av1, Encoder what ffmpeg calls the one that was used.
	Codec   string `json:"codec"`
	Encoder string `json:"encoder"`
	Poster  string `json:"poster,omitempty"`
	// Flashes is the worst second of the picture; nil for a rough cut.
	Flashes  *Flashes `json:"flashes,omitempty"`
	Notes    []string `json:"notes,omitempty"` // programme notes, WebVTT and SRT
	Duration float64  `json:"duration"`
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

// CheckedTake is what `check` says of one take.
type CheckedTake struct {
	Name     string           `json:"name"`
	Player   string           `json:"player"`
	Level    string           `json:"level"` // ok, ask or redo; missing for a take not in yet
	Findings []intake.Finding `json:"findings"`
}

// CheckResult is the roll of takes.
type CheckResult struct {
	Takes  []CheckedTake `json:"takes"`
	Tasks  TaskCount     `json:"tasks"` // what was measured, and what was known
	Faults []Bad         `json:"faults,omitempty"`
}

// NewResult is what `new` wrote.
type NewResult struct {
	Manifest  string   `json:"manifest"`
	Takes     int      `json:"takes"`
	Unguessed []string `json:"unguessed"`
}

// CleanResult is what `clean` removed.
type CleanResult struct {
	Bytes   int64 `json:"bytes"`
	Entries int   `json:"entries"`
}

// TruthRow compares what sync measured for one recording with what the demo
// knows.
type TruthRow struct {
	Take string `json:"take"`
	Role string `json:"role"`
	// ErrorMS is how late the player's mean playing lies after sync; negative:
	// early. 0 is perfect.
	ErrorMS       float64 `json:"error_ms"`
	DriftErrorPPM float64 `json:"drift_error_ppm"`
	ClapErrorMS   float64 `json:"clap_error_ms"` // how late the player clapped
	BiasMS        float64 `json:"bias_ms"`       // how late the player plays
}

// DemoResult is what `demo` made.
type DemoResult struct {
	Dir      string       `json:"dir"`
	Truth    []TruthRow   `json:"truth"`
	MedianMS float64      `json:"median_error_ms"`
	WorstMS  float64      `json:"worst_error_ms"`
	Grid     string       `json:"grid"`
	Rough    RenderResult `json:"rough"`
	Final    RenderResult `json:"final"`
}
