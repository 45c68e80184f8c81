// Package limit holds the thresholds that findings about a take depend on, with
// their units and reasons. It measures and judges nothing, so that whoever only
// reads or prints thresholds need not reach what does.
package limit

import (
	"fmt"
	"math"
	"slices"
)

// Threshold is one number that findings depend on.
type Threshold struct {
	Name   string  // stable, for overriding
	Value  float64 // the standard value
	Unit   string
	Spread float64 // how far past the threshold a measurement is nearly certain, in the same unit
	Why    string  // reason or source
}

// Key is a threshold's place in the table.
type Key int

// The thresholds. What each means, and in which unit, is in the table.
const (
	SilentPeak Key = iota
	SoftAsk
	SoftRedo
	NoiseAsk
	NoiseRedo
	RestLeast
	MissingAsk
	RailRatioAsk
	RailRatioRedo
	RailShareAsk
	RailShareRedo
	FlatShareAsk
	FlatShareRedo
	HotPeak
	HotLoudness
	DeadSide
	Antiphase
	HumLevel
	HumDistance
	HumProminence
	BleedDistance
	LowRate
	DriftAsk
	OtherPulse
	OtherOver
	OtherRedo
	ShortLines
	TinyLines
	Portrait
	DarkMean
	DarkShare
	BlownShare
	FrozenMotion
	CentreOff
	CutEdge
	LyingRoom
	BlurMost
	LowFPS
	FrameGap
	LengthApart
	EndsEarly
	thresholds
)

// Sources: "judgement" marks a value that was chosen by listening, looking or
// trying on made material, and has no published source.
var standard = [thresholds]Threshold{
	SilentPeak: {"silent_peak", -60, "dBFS", 6,
		"a muted or unplugged microphone; the noise of a living phone microphone peaks above it (judgement)"},
	SoftAsk: {"soft_ask", -42, "LUFS", 4,
		"bringing it to the level of the others needs more than 20 dB, and lifts the room with it (judgement)"},
	SoftRedo: {"soft_redo", -55, "LUFS", 4,
		"16 bits leave 40 dB over their own noise of -93 dBFS, and phone codecs far less (judgement)"},
	NoiseAsk: {"noise_ask", 28, "dB", 4,
		"distance from the loud passages to the quietest moments; below it noise is heard between notes once eight " +
			"takes are summed (judgement)"},
	NoiseRedo: {"noise_redo", 14, "dB", 4, "noise is heard under the playing itself (judgement)"},
	RestLeast: {"rest_least", 1.5, "s", 0.5,
		"a rest this long near the lowest level makes that level the room's; a soft note is seldom so long and so " +
			"steady (judgement)"},
	MissingAsk: {"missing_ask", 0.2, "s", 0.5,
		"sound that the file's clock has and the file has not, which makes a place that does not decode more than " +
			"the edge of a cut; a lost AAC packet is 0.02 s (judgement)"},
	RailRatioAsk: {"rail_ratio_ask", 0.6, "", 0.3,
		"samples at the highest level over samples a little below it; six unclipped synthetic instruments stay " +
			"below 0.5, also through AAC"},
	RailRatioRedo: {"rail_ratio_redo", 1, "", 0.5,
		"the same instruments driven 6 dB over full scale reach 0.7 to 4, through AAC 0.6 to 2"},
	RailShareAsk:  {"rail_share_ask", 1, "%", 0.5, "share of samples at that level; less is hardly heard (judgement)"},
	RailShareRedo: {"rail_share_redo", 2, "%", 1, "clearly heard distortion (judgement)"},
	FlatShareAsk: {"flat_share_ask", 0.005, "%", 0.02,
		"samples in runs of three or more that repeat the file's extreme value, which only clipping makes"},
	FlatShareRedo: {"flat_share_redo", 0.5, "%", 0.5, "clearly heard distortion (judgement)"},
	HotPeak: {"hot_peak", -1, "dBFS", 0.5,
		"the highest peak that EBU R 128 permits; also asks for hot_loudness, because softly played files brought " +
			"to full level afterwards peak here too"},
	HotLoudness: {"hot_loudness", -16, "LUFS", 2, "raw recordings with room to spare are far softer (judgement)"},
	DeadSide: {"dead_side", 30, "dB", 6,
		"one side this far under the other carries no sound of its own; stereo microphones differ by less than 10 " +
			"dB (judgement)"},
	Antiphase: {"antiphase", -0.8, "", 0.1,
		"correlation of the sides; mono playback would cancel 90 % of the energy"},
	HumLevel:    {"hum_level", -70, "dBFS", 6, "softer hum is covered by the others (judgement)"},
	HumDistance: {"hum_distance", 45, "dB", 6, "hum this far under the loud passages is not heard (judgement)"},
	HumProminence: {"hum_prominence", 14, "dB", 4,
		"mains tone over its neighbourhood in the quietest seconds (judgement)"},
	BleedDistance: {"bleed_distance", 40, "dB", 6,
		"clicks of the count-in under the loud passages; softer ones are covered by the others, in whose rests they " +
			"sound (judgement)"},
	LowRate: {"low_rate", 32000, "Hz", 4000,
		"half of it is the highest pitch that can be kept; telephone modes record 8 or 16 kHz"},
	DriftAsk: {"drift_ask", 300, "ppm", 100,
		"consumer clocks differ by 10 to 100 ppm; more points to a conversion on the way"},
	OtherPulse: {"other_pulse", 20, "", 10,
		"power of a pulse of another tempo than the guide's; chance reached 14 at most in 146 made recordings of " +
			"notes at random (TestPaceOfChance)"},
	OtherOver: {"other_over", 2.5, "", 2.5,
		"that power over the strongest pulse of the guide's; of simulated takes in time it is at most 1.1"},
	OtherRedo: {"other_redo", 40, "", 10, "such a power has no other explanation (judgement)"},
	ShortLines: {"short_lines", 350, "px", 40,
		"a tile of nine on a 1080-line canvas has 360 lines; fewer have to be enlarged"},
	TinyLines: {"tiny_lines", 200, "px", 30, "blurred even in a small tile (judgement)"},
	Portrait: {"portrait", 0.8, "", 0.2,
		"width over height; below it, filling a landscape tile cuts off more than half of the picture"},
	DarkMean:   {"dark_mean", 45, "grey", 12, "typical brightness of the frame, 18 % of full scale (judgement)"},
	DarkShare:  {"dark_share", 80, "%", 10, "share of pixels below 40 in the typical frame (judgement)"},
	BlownShare: {"blown_share", 35, "%", 10, "share of pixels above 250, where no detail is left (judgement)"},
	FrozenMotion: {"frozen_motion", 0.15, "grey", 0.1,
		"mean change between frames two seconds apart; the noise of a camera is above it (judgement)"},
	CentreOff: {"centre_off", 0.3, "", 0.08,
		"distance of the moving part from the middle, as a share of the width (judgement)"},
	CutEdge: {"cut_edge", 0.015, "", 0.02,
		"how far from the top, left or right edge the movement ends, as a share of the picture; one that an edge " +
			"cuts gives 0 (judgement)"},
	LyingRoom: {"lying_room", 0.1, "", 0.05,
		"how far from all other edges the movement must end, where one other than the lower cuts it, to ask whether " +
			"the scene is turned; upright drawn players end at most 0.07 from the lower edge of a landscape " +
			"picture, and 0.12 or more from the others (judgement)"},
	BlurMost: {"blur_most", 0.6, "", 0.1,
		"the metric of Crété-Roffet et al. (2007) at 640 pixels' width; drawn scenes give 0.2, blurred by a 200th " +
			"of their width 0.5, by a 100th 0.65"},
	LowFPS:   {"low_fps", 20, "frames/s", 3, "bowing and lips are no longer seen in step; cinema has 24"},
	FrameGap: {"frame_gap", 0.25, "s", 0.25, "a frozen picture this long is seen as a stumble (judgement)"},
	LengthApart: {"length_apart", 1, "s", 1,
		"sound and picture of one recorder end within tenths of a second of each other"},
	EndsEarly: {"ends_early", 0.5, "s", 0.5, "the last note is cut (judgement)"},
}

// Limits is a set of thresholds. The zero value is not usable; begin with
// [Standard].
type Limits struct{ table [thresholds]Threshold }

// Standard returns the table as documented.
func Standard() Limits { return Limits{standard} }

// Table lists the thresholds in their order.
func (l Limits) Table() []Threshold { return slices.Clone(l.table[:]) }

// Set changes the threshold called name. The error names an unknown name or a
// value that is not finite.
func (l *Limits) Set(name string, value float64) error {
	if math.IsNaN(value) || math.IsInf(value, 0) {
		return fmt.Errorf("threshold %q must be a number", name)
	}
	for i := range l.table {
		if l.table[i].Name == name {
			l.table[i].Value = value
			return nil
		}
	}
	return fmt.Errorf("unknown threshold %q", name)
}

// At returns the value of a threshold.
func (l *Limits) At(k Key) float64 { return l.table[k].Value }

// Over reports whether v is above threshold k, and how sure that is.
func (l *Limits) Over(k Key, v float64) (bool, float64) { return v > l.At(k), l.sure(k, v-l.At(k)) }

// Under reports whether v is below threshold k, and how sure that is.
func (l *Limits) Under(k Key, v float64) (bool, float64) { return v < l.At(k), l.sure(k, l.At(k)-v) }

// sure grows from 0.5 on the threshold to 0.9 at its spread and toward 1
// beyond.
func (l *Limits) sure(k Key, past float64) float64 {
	if !(past > 0) {
		return 0.5
	}
	return 1 - 0.5*math.Exp(-math.Ln10*math.Log10(5)*past/l.table[k].Spread)
}
