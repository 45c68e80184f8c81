package takes

import (
	"fmt"
	"slices"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// Facts returns what the plan needs to know of every take, and what is wrong
// with those that are not whole. line is the film's, nil when nothing is known
// of where recordings lie. What is wrong is told in the order of takes.
func (s *Set) Facts(line *plan.Timeline) (map[string]plan.Facts, []Fault) {
	facts := map[string]plan.Facts{}
	var faults []Fault
	for _, t := range s.Takes {
		if t.IsWithheld() {
			continue // the plan leaves it out, and releases tells
		}
		if t.Video == nil && t.Audio == nil {
			facts[t.Name] = plan.Facts{Absent: plan.Awaited}
			faults = append(faults, NotIn(*t.Take))
			continue
		}
		f, bad := t.facts(line)
		facts[t.Name], faults = f, append(faults, bad...)
	}
	return facts, faults
}

// facts returns Facts for one take that is in.
func (t Take) facts(line *plan.Timeline) (f plan.Facts, faults []Fault) {
	var absent plan.Absence
	var asks []*Recording
	for _, r := range t.Recordings() {
		switch {
		case r.Err == nil && r.Info.Video == nil &&
			r.Info.Audio == nil: // a silent camera whose picture is not released
		case r.Err != nil:
			absent = max(absent, plan.Unreadable)
			faults = append(faults, NewFault(t.Name, KindUnreadable, r.Err))
		case !r.Place.Sure:
			absent = plan.Unplaced
			asks = append(asks, r)
		case line != nil && r.elsewhere(*line):
			absent = plan.Elsewhere
			faults = append(faults, t.outside(r, *line))
		default:
			if r.short != nil {
				b := NewFault(t.Name, KindShort, r.short)
				b.Hint = "it is shown as far as it goes; ask the player for a new export of the video"
				faults = append(faults, b)
			}
			r.fill(&f)
		}
	}
	if len(asks) > 0 {
		faults = append(faults, t.needsReview(asks))
	}
	// A take that was meant to be heard only lacks no picture.
	if f.Picture == nil && (t.Video != nil || f.Sound == nil) {
		f.Absent = absent
	}
	return f, faults
}

// needsReview asks the person for what sync could not find out of some recordings
// of the take, in one line. A recording that only follows the other one is not
// asked about.
func (t Take) needsReview(asks []*Recording) Fault {
	leads := slices.DeleteFunc(slices.Clone(asks), func(r *Recording) bool { return r.Place.Method == align.ByDevice })
	if len(leads) > 0 {
		asks = leads
	}
	f := Fault{Take: t.Name, Kind: KindUnplaced, Asks: true,
		Hint: "write cue_at or offset of the file into production.yaml"}
	var says []string
	for _, r := range asks {
		text, choice := r.Place.Question(), t.Name+"=1"
		if len(t.Recordings()) > 1 {
			text, choice = string(r.Role)+": "+text, t.Name+"/"+string(r.Role)+"=1"
		}
		says = append(says, text)
		if !f.Choice && len(r.Place.Rivals()) > 0 {
			f.Choice = true
			f.Hint = "listen with `ripieno sync --snippets`, then `ripieno sync --accept " + choice + "`"
		}
	}
	f.What = t.Name + ": needs review: " + strings.Join(says, "; ")
	return f
}

// elsewhere reports whether a recording has nothing in the film. A file that does not
// say how long it is counts as long enough.
func (r *Recording) elsewhere(line plan.Timeline) bool {
	clock := r.Place.Clock()
	from := line.GuideAtZero()
	length := r.Length()
	return clock.Guide(0) >= from+line.Duration() || length > 0 && clock.Guide(length) <= from
}

// outside returns the fault of a recording that has nothing in the film, with both spans of
// guide time, by which a wrong offset is seen at once.
func (t Take) outside(r *Recording, line plan.Timeline) Fault {
	from := r.Place.Offset
	return NewFault(t.Name, KindUnplaced, fault.At(fault.Decision, r.File.Mark,
		fmt.Sprintf("%s of take %q lies from %.1f to %.1f s of guide time, the film from %.1f to %.1f", r.File.Path,
			t.Name,
			from, from+r.Length(), line.GuideAtZero(), line.GuideAtZero()+line.Duration()),
		"correct offset or cue_at of this file, or leave them out to let sync measure"))
}

// fill takes over what one good recording gives: the video file its picture,
// and the sound of the separate microphone when there is one. It is called for the
// video before the audio.
func (r *Recording) fill(f *plan.Facts) {
	clock := r.Place.Clock()
	if r.Info.Video != nil && r.Role == Video {
		f.Picture, f.Subject = r.Picture(r.pictureClock(clock)), r.Subject
		f.Picture.Cuts, f.Picture.Codec = r.cuts, strings.TrimSpace(r.Info.Video.Codec+" "+r.Info.Video.Profile)
	}
	a := r.Info.Audio
	if a == nil {
		return
	}
	sound := &plan.Sound{
		Hash: r.Hash.String(), Stream: a.Index, Rate: a.Rate, Channels: a.Channels, Clock: clock,
		Frames: audio.Frames(r.Info.Duration * float64(a.Rate)), Parts: r.Parts,
		Phone: r.byPhone(),
	}
	switch {
	case f.Sound == nil:
	case r.Role == Video:
		f.Beside = sound
		return
	default: // whoever brings a device of its own beside the camera brings a microphone
		f.Beside, sound.Phone = f.Sound, false
	}
	f.Sound = sound
}

// byPhone reports whether a phone recorded the sound, as far as the file tells: a
// camera did, or it is coded as the recorders of phones do it. Field recorders
// and computers write WAV, FLAC or MP3.
func (r *Recording) byPhone() bool {
	return r.Role == Video || slices.Contains([]string{"aac", "amr_nb", "amr_wb", "alac"}, r.Info.Audio.Codec)
}

// Picture describes the recording's picture for the plan, on some clock.
func (r *Recording) Picture(clock audio.Clock) *plan.Picture {
	v := *r.Info.Video
	length := v.Duration
	if length == 0 {
		length = r.Info.Duration - v.Start
	}
	if r.short != nil {
		length = min(length, r.seconds-v.Start)
	}
	v = withOverrides(v, r.File)
	pic := &plan.Picture{
		Path: r.Path, Hash: r.Hash.String(), Stream: v.Index, First: v.Start, Last: v.Start + length,
		FPS: float64(v.FPSNum) / float64(max(1, v.FPSDen)), Rotate: r.File.Rotate, HDR: v.HDR(),
		Mirrored: v.Mirrored, Clock: clock, PixFmt: v.PixFmt,
		Matrix: v.Matrix, Transfer: v.Transfer, Primaries: v.Primaries, Range: v.Range,
	}
	if v.Rotation != 0 {
		pic.Rotate = &v.Rotation
	}
	if v.Interlaced {
		pic.Fields = [2]int{v.W, v.H}
	}
	pic.Gain = r.gain
	if !r.PartsOfSound {
		pic.Parts = r.Parts
	}
	pic.W, pic.H = v.Display()
	if v.Matrix == "" && !v.HDR() {
		// Common practice, no source: without a tag, pictures of 720 lines
		// and more are BT.709 and smaller ones BT.601.
		pic.Matrix = "bt601"
		if min(v.W, v.H) >= 720 {
			pic.Matrix = "bt709"
		}
	}
	return pic
}

// colours are the tags of pictures, by the manifest's words: matrix, transfer
// and primaries as ffmpeg calls them.
var colours = map[production.Colour][3]string{
	production.BT709:  {"bt709", "bt709", "bt709"},
	production.BT601:  {"smpte170m", "smpte170m", "smpte170m"},
	production.BT2020: {"bt2020nc", "bt2020-10", "bt2020"},
	production.P3:     {"bt709", "bt709", "smpte432"},
	production.HLG:    {"bt2020nc", "arib-std-b67", "bt2020"},
	production.PQ:     {"bt2020nc", "smpte2084", "bt2020"},
}

// withOverrides returns a picture with what the manifest says of it in place of what the
// file says.
func withOverrides(v media.Video, f *production.File) media.Video {
	if f.Rotate != nil {
		v.Rotation = *f.Rotate
	}
	if tags, ok := colours[f.Colour]; ok {
		v.Matrix, v.Transfer, v.Primaries = tags[0], tags[1], tags[2]
	}
	switch f.Range {
	case production.LimitedRange:
		v.Range = "tv"
	case production.FullRange:
		v.Range = "pc"
	}
	return v
}
