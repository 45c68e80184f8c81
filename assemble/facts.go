package assemble

import (
	"fmt"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/mix/audio"
)

// facts gathers what the plan needs to know of every take, and what is wrong
// with those that are not whole. line is the film's, nil when nothing is known
// of where recordings lie.
func (p *Production) facts(all []located, line *plan.Timeline) (map[string]plan.Facts, []Bad) {
	facts := map[string]plan.Facts{}
	var faults []Bad
	for i, t := range p.Manifest().Takes {
		if t.Release == manifest.ReleaseNo {
			continue // the plan leaves it out, and releases tells
		}
		if t.Video == nil && t.Audio == nil {
			facts[t.Name] = plan.Facts{Absent: plan.Awaited}
			faults = append(faults, notIn(t))
			continue
		}
		var f plan.Facts
		var absent plan.Absence
		for _, l := range all {
			if l.take != i {
				continue
			}
			switch {
			case l.err == nil && l.info.Video == nil && l.info.Audio == nil: // a silent camera whose picture is not released
			case l.err != nil:
				absent = max(absent, plan.Unreadable)
				faults = append(faults, bad(t.Name, kindUnreadable, l.err))
			case !l.place.Sure:
				absent = plan.Unplaced
				faults = append(faults, unplaced(t, l))
			case line != nil && elsewhere(l, *line):
				absent = plan.Elsewhere
				faults = append(faults, outside(t, l, *line))
			default:
				if l.short != nil {
					b := bad(t.Name, kindShort, l.short)
					b.Hint = "it is shown as far as it goes; ask the player for a new export of the video"
					faults = append(faults, b)
				}
				fill(&f, l)
			}
		}
		if f.Picture == nil && (t.Video != nil || f.Sound == nil) {
			f.Absent = absent
		}
		facts[t.Name] = f
	}
	return facts, faults
}

// unplaced asks the person for what sync could not find out.
func unplaced(t manifest.Take, l located) Bad {
	hint := l.place.Reason
	if hint == "" {
		hint = "listen for the clap and write its time in this file as cue_at"
	}
	return bad(t.Name, kindUnplaced, fault.At(fault.Decision, l.file.Mark,
		fmt.Sprintf("%s of take %q could not be placed in time (confidence %.2f)", l.file.Path, t.Name, l.place.Confidence), hint))
}

// elsewhere tells whether a recording has nothing in the film.
func elsewhere(l located, line plan.Timeline) bool {
	clock := l.place.Clock()
	from := line.GuideAtZero()
	return clock.Guide(0) >= from+line.Duration() || l.info.Duration > 0 && clock.Guide(l.info.Duration) <= from
}

// outside says so.
func outside(t manifest.Take, l located, line plan.Timeline) Bad {
	from := l.place.Offset
	return bad(t.Name, kindUnplaced, fault.At(fault.Decision, l.file.Mark,
		fmt.Sprintf("%s of take %q lies from %.1f to %.1f s of guide time, the film from %.1f to %.1f", l.file.Path, t.Name,
			from, from+l.info.Duration, line.GuideAtZero(), line.GuideAtZero()+line.Duration()),
		"correct offset or cue_at of this file, or leave them out to let sync measure"))
}

// fill takes over what one good recording gives: the video file its picture,
// and the sound of the separate microphone when there is one.
func fill(f *plan.Facts, l located) {
	clock := l.place.Clock()
	if v := l.info.Video; v != nil && l.role == roleVideo {
		f.Picture, f.Subject = picture(l, *v, clock), l.subject
	}
	a := l.info.Audio
	if a == nil || (f.Sound != nil && l.role == roleVideo) {
		return
	}
	f.Sound = &plan.Sound{
		Hash: l.hash.String(), Stream: a.Index, Rate: a.Rate, Channels: a.Channels, Clock: clock,
		Frames: audio.Frames(l.info.Duration * float64(a.Rate)),
	}
}

// picture describes a take's picture for the plan.
func picture(l located, v media.Video, clock audio.Clock) *plan.Picture {
	length := v.Duration
	if length == 0 {
		length = l.info.Duration - v.Start
	}
	if l.short != nil {
		length = min(length, l.short.seconds-v.Start)
	}
	v = said(v, l.file)
	pic := &plan.Picture{
		Path: l.path, Hash: l.hash.String(), Stream: v.Index, First: v.Start, Last: v.Start + length,
		FPS: float64(v.FPSNum) / float64(max(1, v.FPSDen)), Rotate: l.file.Rotate, HDR: v.HDR(),
		Mirrored: v.Mirrored, Clock: clock, PixFmt: v.PixFmt,
		Matrix: v.Matrix, Transfer: v.Transfer, Primaries: v.Primaries, Range: v.Range,
	}
	if v.Rotation != 0 {
		pic.Rotate = &v.Rotation
	}
	if v.Interlaced {
		pic.Fields = [2]int{v.W, v.H}
	}
	pic.Gain = l.gain
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
var colours = map[string][3]string{
	"bt709":  {"bt709", "bt709", "bt709"},
	"bt601":  {"smpte170m", "smpte170m", "smpte170m"},
	"bt2020": {"bt2020nc", "bt2020-10", "bt2020"},
	"p3":     {"bt709", "bt709", "smpte432"},
	"hlg":    {"bt2020nc", "arib-std-b67", "bt2020"},
	"pq":     {"bt2020nc", "smpte2084", "bt2020"},
}

// said is a picture with what the manifest says of it in place of what the
// file says.
func said(v media.Video, f *manifest.File) media.Video {
	if f.Rotate != nil {
		v.Rotation = *f.Rotate
	}
	if tags, ok := colours[f.Colour]; ok {
		v.Matrix, v.Transfer, v.Primaries = tags[0], tags[1], tags[2]
	}
	if f.Range != "" {
		v.Range = map[string]string{"limited": "tv", "full": "pc"}[f.Range]
	}
	return v
}

// Verdict is the error a verb ends with when it did its work but takes are
// missing from the result; nil when none is.
func Verdict(faults []Bad) error {
	var list fault.List
	for _, b := range faults {
		kind := fault.Decision
		if b.Kind == kindUnreadable {
			kind = fault.Media
		}
		list.Add(fault.New(kind, "", b.What, b.Hint))
	}
	return list.Err()
}
