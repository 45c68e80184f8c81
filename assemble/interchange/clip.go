package interchange

import (
	"fmt"
	"math"

	"ripieno/layout/shot"
	"ripieno/mix/audio"
)

// Kind is what a track holds.
type Kind string

// The kinds, in OpenTimelineIO's words.
const (
	Video Kind = "Video"
	Audio Kind = "Audio"
)

// Timeline is a film as tracks of whole recordings in their places.
type Timeline struct {
	Name   string
	Rate   shot.Rate
	Zero   float64 // guide time of frame 0, seconds
	Frames int
	Tracks []Track // of video from back to front, then of audio
	Marks  []Mark
}

// Track is one recording's.
type Track struct {
	Name string
	Kind Kind
	Clip Clip
}

// Media is a file and where it lies.
type Media struct {
	Name        string
	URL         string  // relative to the timeline's file, escaped
	Rate        float64 // frames or samples a second
	First, Last float64 // the part that exists, seconds of the file
	Clock       audio.Clock
	Channels    int // of sound
}

// Clip is a run of frames of the timeline in which a file is played.
type Clip struct {
	Media
	From, To int     // frames of the timeline
	Source   float64 // second of the file at frame From
	Speed    float64 // seconds of the file in a second of the timeline
}

// Mark is a named place on the timeline.
type Mark struct {
	Name     string
	Frame    int
	Guide    float64 // exact guide time, seconds
	Colour   string  // one of OpenTimelineIO's names
	Remark   string
	Duration int // frames
}

// Marks of several sorts have colours of their own.
const (
	White  = "WHITE"
	Cyan   = "CYAN"
	Yellow = "YELLOW"
)

// At returns the second of the file at a guide time.
func (m Media) At(guide float64) float64 { return m.Clock.File(guide) }

// Seconds returns the guide time of a frame of the timeline.
func (t Timeline) Seconds(frame int) float64 { return t.Zero + t.Rate.Seconds(frame) }

// Cut returns the clip of m over frames [from, to) as far as the file exists; false
// when nothing is left.
func (t Timeline) Cut(m Media, from, to int) (Clip, bool) {
	from, to = max(from, 0), min(to, t.Frames)
	fps := t.Rate.FPS()
	frame := func(second float64) float64 { return (m.Clock.Guide(second) - t.Zero) * fps }
	// Near the answer first, since the frames to walk over could be many.
	from = max(from, int(math.Max(-1, math.Min(frame(m.First), float64(t.Frames))))-1)
	to = min(to, int(math.Max(-1, math.Min(frame(m.Last), float64(t.Frames))))+2)
	c := Clip{Media: m, Speed: 1 / m.Clock.Drift.Ratio()}
	for ; from < to; from++ {
		if c.Source = m.At(t.Seconds(from)); c.Source >= m.First {
			break
		}
	}
	c.From, c.To = from, to
	for c.To > c.From && !c.fits(t.Rate) {
		c.To--
	}
	return c, c.To > c.From
}

// fits reports whether the file lasts to the clip's end, played at its speed or
// as it is.
func (c Clip) fits(r shot.Rate) bool {
	return c.Source >= c.First && c.Source+r.Seconds(c.To-c.From)*math.Max(1, c.Speed) <= c.Last
}

// check finds clips that no reader could play; a NaN anywhere is one.
func (t Timeline) check() error {
	for _, k := range t.Tracks {
		c := k.Clip
		if c.From < 0 || c.To > t.Frames || c.To <= c.From || !c.fits(t.Rate) || !(c.Speed > 0) || !(c.Rate > 0) ||
			math.IsInf(c.Last, 0) {
			return fmt.Errorf("interchange: the clip of track %q has frames %d to %d of %d, from second %g of a file "+
				"from %g to %g",
				k.Name, c.From, c.To, t.Frames, c.Source, c.First, c.Last)
		}
	}
	return nil
}
