package takes

import (
	"math"
	"strings"
	"testing"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/mix/align"
)

// A take that could not be placed is one fault, of one line, whatever the number
// of its files; its hint says how to accept a place when there is one.
func TestOneLineATake(t *testing.T) {
	file := func(role Role, p align.Placement) *Recording {
		return &Recording{Owner: "horn-2", Role: role, File: &production.File{Path: "intake/horn." + string(role)},
			Place: p,
			Info:  media.Info{Duration: 30, Audio: &media.Audio{Rate: 48000, Channels: 1}}}
	}
	clap := align.Placement{Confidence: 0.88, Candidates: []align.Candidate{{At: 12.34, ByCue: true, Odds: 0.88},
		{At: 9.94, ByCue: true, Odds: 0.11}}}
	none := align.Placement{Method: "none", Reason: "there is nothing to hear in this file; give offset or cue_at",
		Uncertainty: math.Inf(1)}
	const listen = "listen with `ripieno sync --snippets`, then `ripieno sync --accept horn-2=1`"
	const listenTo = "listen with `ripieno sync --snippets`, then `ripieno sync --accept horn-2/audio=1`"
	follows := clap
	follows.Method = "device"
	for _, c := range []struct {
		name         string
		video, audio *Recording
		what, hint   string
	}{
		{"one file", nil, file(Audio, clap), "horn-2: needs review: clap at 12.34 s (88 %) or 9.94 s (11 %)", listen},
		{"two files", file(Video, none), file(Audio, clap),
			"horn-2: needs review: video: there is nothing to hear in this file; give offset or cue_at; audio: clap " +
				"at 12.34 s (88 %) or 9.94 s (11 %)", listenTo},
		{"the other follows it", file(Video, follows), file(Audio, clap),
			"horn-2: needs review: audio: clap at 12.34 s (88 %) or 9.94 s (11 %)", listenTo},
		{"the other is placed", file(Video, align.Placement{Sure: true}), file(Audio, clap),
			"horn-2: needs review: audio: clap at 12.34 s (88 %) or 9.94 s (11 %)", listenTo},
		{"nothing to choose from", nil, file(Audio, none),
			"horn-2: needs review: there is nothing to hear in this file; give offset or cue_at",
			"write cue_at or offset of the file into production.yaml"},
	} {
		take := Take{Take: &production.Take{Name: "horn-2"}, Video: c.video, Audio: c.audio}
		f, faults := take.facts(nil)
		if len(faults) != 1 {
			t.Errorf("%s: %d faults: %+v", c.name, len(faults), faults)
			continue
		}
		got := faults[0]
		if got.What != c.what || got.Hint != c.hint || got.Kind != KindUnplaced || !got.Asks ||
			got.Choice != strings.Contains(c.hint, "--accept") || strings.Contains(got.What, "\n") {
			t.Errorf("%s: %+v\nwant %s\n%s", c.name, got, c.what, c.hint)
		}
		if placed := c.video != nil && c.video.Place.Sure; (f.Absent == plan.Unplaced) == (placed && f.Picture != nil) {
			t.Errorf("%s: absent %v", c.name, f.Absent)
		}
	}
}
