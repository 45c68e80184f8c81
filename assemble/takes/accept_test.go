package takes

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/mix/align"
)

// isFault reports whether err is a fault of a kind with these words in where, what
// and hint.
func isFault(err error, kind fault.Kind, where, what, hint string) bool {
	var f *fault.Fault
	return errors.As(err, &f) && f.Kind == kind && strings.Contains(f.Where, where) && strings.Contains(f.What, what) &&
		strings.Contains(f.Hint, hint)
}

// heardRecording returns a recording with a sound and so many candidates, the k-th at
// offset k, drifting by 10·k ppm.
func heardRecording(take string, role Role, method align.Method, candidates int) *Recording {
	r := &Recording{Owner: take, Role: role, File: &production.File{Path: "intake/" + take + "." + string(role)},
		Info: media.Info{Duration: 60, Audio: &media.Audio{Rate: 48000, Channels: 1}}}
	r.Place.Method = method
	for k := range candidates {
		r.Place.Candidates = append(r.Place.Candidates, align.Candidate{Offset: float64(k + 1),
			DriftPPM: float64(10 * (k + 1))})
	}
	return r
}

// What a person writes behind --accept is a take, with a recording and a number or
// without; names with slashes, dots and signs of equality are taken as far as they go.
func TestChoicesAreParsed(t *testing.T) {
	for text, want := range map[string]Choice{
		"oboe":               {"oboe", "", 1},
		"oboe=2":             {"oboe", "", 2},
		"oboe/video":         {"oboe", Video, 1},
		"oboe/audio=3":       {"oboe", Audio, 3},
		"oboe/video/audio=1": {"oboe/video", Audio, 1},
		"oboe/Video":         {"oboe/Video", "", 1},
		"Jörg 1=12":          {"Jörg 1", "", 12},
		"video":              {"video", "", 1},
		"oboe=+4":            {"oboe", "", 4},
	} {
		if got, err := ParseChoice(text); err != nil || got != want {
			t.Errorf("%q is %+v, %v, want %+v", text, got, err, want)
		}
	}
	for text, what := range map[string]string{
		"":                          `"" names no take`,
		"=2":                        `"=2" names no take`,
		"/audio=1":                  `"/audio=1" names no take`,
		"oboe=":                     `"" is not the number of a candidate`,
		"oboe=0":                    `"0" is not the number`,
		"oboe=-1":                   `"-1" is not the number`,
		"oboe=one":                  `"one" is not the number`,
		"oboe=1=2":                  `"1=2" is not the number`,
		"oboe=1.5":                  `"1.5" is not the number`,
		"oboe=99999999999999999999": "is not the number",
	} {
		if got, err := ParseChoice(text); !isFault(err, fault.Manifest, "--accept", what, "write --accept TAKE") {
			t.Errorf("%q is %+v, %v", text, got, err)
		}
	}
}

// A take is accepted where its leading recording may lie: the one that does not only
// follow the player's other device.
func TestAccepting(t *testing.T) {
	man := &production.Production{Takes: []production.Take{{Name: "oboe"}, {Name: "horn"}, {Name: "harp"},
		{Name: "drum"}}}
	given := 3.5
	fixed := heardRecording("harp", Audio, align.ByOffset, 2)
	fixed.File.Offset = &given
	cue := heardRecording("drum", Audio, align.ByCueGiven, 2)
	cue.File.CueAt = &given
	mute := heardRecording("harp", Video, align.NoMethod, 1)
	mute.Info.Audio = nil
	s := &Set{Takes: []Take{
		{Take: &man.Takes[0], Video: heardRecording("oboe", Video, align.ByDevice, 1), Audio: heardRecording("oboe",
			Audio, align.ByCue, 3)},
		{Take: &man.Takes[1], Video: heardRecording("horn", Video, align.ByPlaying, 2)},
		{Take: &man.Takes[2], Video: mute, Audio: fixed},
		{Take: &man.Takes[3], Audio: cue},
	}}
	list, err := s.Accept(man, []Choice{{"horn", "", 2}, {"oboe", "", 3}, {"oboe", Video, 1}})
	want := []manifest.Pinned{{Take: "horn", Role: Video, Offset: 2, DriftPPM: 20}, {Take: "oboe", Role: Audio,
		Offset: 3, DriftPPM: 30}, {Take: "oboe", Role: Video, Offset: 1, DriftPPM: 10}}
	if err != nil || fmt.Sprint(list) != fmt.Sprint(want) {
		t.Errorf("%+v, %v, want %+v", list, err, want)
	}
	for _, c := range []struct {
		choices    []Choice
		what, hint string
	}{
		{[]Choice{{"flute", "", 1}}, `there is no take "flute"`, `the manifest has ["oboe" "horn" "harp" "drum"]`},
		{[]Choice{{"horn", Audio, 1}}, `take "horn" has no such recording that can be heard`, "ripieno check"},
		{[]Choice{{"harp", Video, 1}}, `take "harp" has no such recording that can be heard`, "ripieno check"},
		{[]Choice{{"harp", "", 1}}, "the manifest says where intake/harp.audio lies",
			"offset or cue_at out of production.yaml"},
		{[]Choice{{"drum", "", 1}}, "the manifest says where intake/drum.audio lies", "first"},
		{[]Choice{{"horn", "", 3}}, "intake/horn.video has no candidate 3, only 2", "write cue_at or offset"},
		{[]Choice{{"oboe", "", 1}, {"oboe", Audio, 2}}, "oboe (audio) is chosen twice", "give one candidate"},
	} {
		if list, err := s.Accept(man, c.choices); list != nil || !isFault(err, fault.Manifest, "--accept", c.what,
			c.hint) {
			t.Errorf("%+v: %+v, %v", c.choices, list, err)
		}
	}
	if list, err := s.Accept(man, nil); len(list) != 0 || err != nil {
		t.Errorf("no choices: %+v, %v", list, err)
	}
}

// A take without a sound leads nowhere; of two that are placed by themselves the
// camera leads, since its picture is what is seen.
func TestLeading(t *testing.T) {
	video, sound := heardRecording("a", Video, align.ByCue, 0), heardRecording("a", Audio, align.ByPlaying, 0)
	bad := heardRecording("a", Video, align.ByCue, 0)
	bad.Err = errors.New("cut off")
	follows := heardRecording("a", Video, align.ByDevice, 0)
	for _, c := range []struct {
		what string
		take Take
		want *Recording
	}{
		{"nothing", Take{}, nil},
		{"both by themselves", Take{Video: video, Audio: sound}, video},
		{"the camera follows", Take{Video: follows, Audio: sound}, sound},
		{"the camera is broken", Take{Video: bad, Audio: sound}, sound},
		{"only a broken one", Take{Video: bad}, nil},
		{"only one that follows", Take{Video: follows}, follows},
	} {
		if got := c.take.Leading(); got != c.want {
			t.Errorf("%s: %v leads, want %v", c.what, got, c.want)
		}
	}
}

// What is chosen comes first, and of what is sure only what was not chosen, recording
// by recording.
func TestChosenAndSure(t *testing.T) {
	pin := func(take string, role Role, at float64) manifest.Pinned {
		return manifest.Pinned{Take: take, Role: role, Offset: at}
	}
	chosen := []manifest.Pinned{pin("oboe", Audio, 1)}
	sure := []manifest.Pinned{pin("oboe", Audio, 2), pin("oboe", Video, 3), pin("horn", Audio, 4)}
	var got []string
	for _, p := range AddUnchosen(slices.Clone(chosen), sure) {
		got = append(got, fmt.Sprint(p.Take, " ", p.Role, " ", p.Offset))
	}
	if want := []string{"oboe audio 1", "oboe video 3", "horn audio 4"}; !slices.Equal(got, want) {
		t.Errorf("%q, want %q", got, want)
	}
	if got := AddUnchosen(nil, nil); len(got) != 0 {
		t.Errorf("of nothing: %v", got)
	}
}

// Only what is sure and not written down already may be copied into the manifest.
func TestSurePlaces(t *testing.T) {
	at := 1.0
	sure := func(name string, role Role) *Recording {
		r := heardRecording(name, role, align.ByCuePlaying, 1)
		r.Place.Sure, r.Place.Offset, r.Place.DriftPPM = true, -2.5, 12
		return r
	}
	asked, bad, written, cue := sure("a", Audio), sure("b", Audio), sure("c", Audio), sure("d", Audio)
	asked.Place.Sure, bad.Err, written.File.Offset, cue.File.CueAt = false, errors.New("cut off"), &at, &at
	both := sure("e", Video)
	both.Rate, both.PartsOfSound = 44100, true
	s := &Set{Takes: []Take{{Audio: asked}, {Audio: bad}, {Audio: written}, {Audio: cue},
		{Video: both, Audio: sure("e", Audio)}}}
	got := s.Sure()
	if len(got) != 2 || got[0].Take != "e" || got[0].Role != Video || got[0].SampleRate != 44100 ||
		!got[0].PartsOfSound || got[0].Offset != -2.5 || got[0].DriftPPM != 12 || got[1].Role != Audio ||
		got[1].SampleRate != 0 {
		t.Errorf("%+v", got)
	}
}

// Pinning nothing touches nothing: there need not even be a manifest.
func TestPinningNothing(t *testing.T) {
	if err := Pin(t.Context(), &production.Production{Dir: "/nowhere", Path: "/nowhere/production.yaml"},
		nil); err != nil {
		t.Error(err)
	}
}
