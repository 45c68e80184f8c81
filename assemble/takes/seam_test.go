package takes

import (
	"slices"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
)

// oboe returns a take of two devices and horn one of a camera alone, as they are
// after they were looked at; the tuba is not in.
func oboe(tool *ffmpeg.Tool) (*Set, *production.Production) {
	man := &production.Production{Takes: []production.Take{{Name: "oboe"}, {Name: "horn"}, {Name: "tuba"}}}
	rec := func(take string, role Role, seconds float64) *Recording {
		r := &Recording{Owner: take, Role: role, File: &production.File{Path: take + "." + string(role)},
			Hash: store.HashBytes([]byte(take + string(role)))}
		r.Info = media.Info{Duration: seconds, Audio: &media.Audio{Rate: 48000, Channels: 1}}
		if role == Video {
			r.Info.Video = &media.Video{W: 640, H: 360, FPSNum: 30, FPSDen: 1}
		}
		return r
	}
	set := &Set{Takes: []Take{
		{Take: &man.Takes[0], Video: rec("oboe", Video, 60), Audio: rec("oboe", Audio, 70)},
		{Take: &man.Takes[1], Video: rec("horn", Video, togetherSeconds+1)},
		{Take: &man.Takes[2]},
	}}
	set.listenTasks(tool, nil)
	return set, man
}

// A sound is decoded once, listened to once and compared with the other device;
// what listens depends on the sound and on nothing else.
func TestListeningAsTasks(t *testing.T) {
	set, _ := oboe(ffmpeg.Recorded(ffmpeg.Version{Text: "7.1"}, nil, nil))
	o, h := set.Takes[0], set.Takes[1]
	byID := map[string]task.Task{}
	for _, x := range task.Collect(o.Video.refs.features, o.Audio.refs.features, o.Audio.refs.match,
		h.Video.refs.features) {
		byID[x.ID] = x
	}
	for id, want := range map[string][]string{
		"sound/oboe/video": nil, "sound/oboe/audio": nil, "sound/horn/video": nil,
		"analyse/oboe/video": {"sound/oboe/video"}, "analyse/horn/video": {"sound/horn/video"},
		"match/oboe/video/oboe/audio": {"sound/oboe/video", "sound/oboe/audio"},
	} {
		x, ok := byID[id]
		if !ok || !slices.Equal(x.After, want) {
			t.Errorf("%s: there %v, comes after %q, want %q", id, ok, x.After, want)
		}
	}
	if len(byID) != 7 || !h.Video.refs.match.IsZero() {
		t.Errorf("%d tasks, and the horn is compared with nothing: %v", len(byID), h.Video.refs.match.IsZero())
	}
	if byID["sound/oboe/video"].Batch == nil || byID["sound/oboe/video"].Batch != byID["sound/oboe/audio"].Batch ||
		byID["sound/horn/video"].Batch != nil {
		t.Error("short sounds are decoded together, long ones alone")
	}
}

// A check hears every sound and sees every picture; at what tempo a recording
// was played is only asked of one whose place is not beyond doubt.
func TestCheckAsTasks(t *testing.T) {
	tool := ffmpeg.Recorded(ffmpeg.Version{Text: "7.1"}, nil, nil)
	set, man := oboe(tool)
	for _, r := range set.Recordings() {
		r.Place = align.Placement{Method: "cue+playing", Sure: true}
	}
	var ids []string
	for _, x := range task.Collect(set.Checks(tool, nil, man).Edges()...) {
		ids = append(ids, x.ID)
	}
	want := []string{"sound/oboe/video", "hear/oboe/video", "see/oboe/video", "sound/oboe/audio", "hear/oboe/audio",
		"sound/horn/video", "hear/horn/video", "see/horn/video"}
	if !slices.Equal(ids, want) {
		t.Errorf("tasks %q, want %q", ids, want)
	}
}

// Whoever reads an output without having said so is told.
func TestReadingWhatWasNotStated(t *testing.T) {
	set, _ := oboe(ffmpeg.Recorded(ffmpeg.Version{Text: "7.1"}, nil, nil))
	r := set.Takes[0].Video
	if path, err := r.Sound.Read(task.Inputs{"sound/oboe/video": "/store/a"}); err != nil ||
		path != "/store/a/sound.wav" {
		t.Errorf("the sound is %q, %v", path, err)
	}
	if _, err := r.Sound.Read(task.Inputs{"sound/horn/video": "/store/a"}); err == nil {
		t.Error("another's sound was read")
	}
}
