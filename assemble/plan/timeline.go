package plan

import (
	"fmt"
	"math"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/layout/shot"
	"ripieno/mix/audio"
)

// maxHours bounds the film: a slip in the tempo map must not fill the disk.
const maxHours = 6

// NewTimeline places the film on guide time: from the lead-in before the first
// note to the tail after the last measure.
func NewTimeline(p *production.Production) (Timeline, error) {
	t := Timeline{Rate: shot.Rate{Num: p.Picture.FPSNum, Den: p.Picture.FPSDen}}
	step := wholeSampleFrames(t.Rate)
	first := t.Rate.Frame(p.Tempo.Start() - p.Picture.LeadIn)
	t.First = int(math.Floor(float64(first)/float64(step))) * step
	t.Frames = t.Rate.Frame(p.Tempo.End()+p.Picture.Tail) - t.First
	if s := t.Duration(); t.Frames < 1 || s > maxHours*3600 {
		return t, fault.New(fault.Manifest, p.Path, fmt.Sprintf("the film would be %.0f seconds long", s),
			fmt.Sprintf("check tempo: measures and bpm, and picture: lead_in and tail; a film may last up to %d hours",
				maxHours))
	}
	t.AudioStart = audio.FramesAt(t.GuideAtZero())
	t.AudioLen = audio.FramesAt(t.Duration())
	return t, nil
}

// wholeSampleFrames returns the smallest number of frames that lasts a whole
// number of samples: 1 for 24, 25, 30, 50 and 60, 5 for the rates over 1001.
func wholeSampleFrames(r shot.Rate) int {
	n := r.Num / audio.GCD(r.Num, r.Den*audio.Rate)
	return max(1, n)
}

// guide returns the guide time of a manifest time, with the film's ends resolved.
func (t Timeline) guide(m production.Time) float64 {
	switch m.Edge {
	case production.FilmStart:
		return t.GuideAtZero()
	case production.FilmEnd:
		return t.GuideAtZero() + t.Duration()
	}
	return m.Seconds
}
