package survey

import (
	"errors"
	"testing"

	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/takes"
	"ripieno/mix/align"
)

// The guess is drawn of the file that would be heard, only while none of the
// take's files has a sure place, and only where there is one to guess.
func TestGuessed(t *testing.T) {
	rec := func(role takes.Role, sure bool, places int) *takes.Recording {
		return &takes.Recording{Role: role, Features: &align.Features{},
			Place: align.Placement{Sure: sure, Candidates: make([]align.Candidate, places)}}
	}
	mute := rec(takes.Video, true, 1)
	mute.Features = nil
	cut := rec(takes.Audio, false, 1)
	cut.Err = errors.New("cut off")
	for _, c := range []struct {
		name         string
		video, audio *takes.Recording
		want         takes.Role
	}{
		{"both unsure", rec(takes.Video, false, 2), rec(takes.Audio, false, 1), takes.Audio},
		{"one of two is sure", rec(takes.Video, true, 1), rec(takes.Audio, false, 1), ""},
		{"sure", nil, rec(takes.Audio, true, 3), ""},
		{"nowhere", nil, rec(takes.Audio, false, 0), ""},
		{"only the video may lie somewhere", rec(takes.Video, false, 2), rec(takes.Audio, false, 0), takes.Video},
		{"a silent picture that is placed", mute, rec(takes.Audio, false, 2), takes.Audio},
		{"a file that cannot be read", rec(takes.Video, false, 1), cut, takes.Video},
		{"no files", nil, nil, ""},
	} {
		got := guessedRecording(takes.Take{Take: &production.Take{}, Video: c.video, Audio: c.audio})
		if (got == nil) != (c.want == "") || got != nil && got.Role != c.want {
			t.Errorf("%s: %+v, want %q", c.name, got, c.want)
		}
	}
}

// A take of which nothing is used is left out; one whose sound alone is, partly.
func TestLeftOut(t *testing.T) {
	s := &Survey{used: map[string]plan.Facts{
		"whole": {Picture: &plan.Picture{}, Sound: &plan.Sound{}}, "sound": {Sound: &plan.Sound{}},
		"no-picture": {Sound: &plan.Sound{},
			Absent: plan.Unplaced}, "nothing": {Absent: plan.Unplaced}, "beside": {Absent: plan.Elsewhere},
	}}
	for name, want := range map[string][2]bool{
		"whole": {}, "sound": {}, "no-picture": {false, true}, "nothing": {true, false}, "beside": {true,
			false}, "withheld": {true, false},
	} {
		if all, partly := s.leftOut(takes.Take{Take: &production.Take{Name: name}}); all != want[0] ||
			partly != want[1] {
			t.Errorf("%s: %v, %v, want %v", name, all, partly, want)
		}
	}
}
