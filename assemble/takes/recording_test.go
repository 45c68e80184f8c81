package takes

import (
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/progress"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/layout"
	"ripieno/layout/framing"
	"ripieno/layout/shot"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// A fault speaks of a file as the manifest does, not by where it lies on this disk; a
// fault of something else keeps its place.
func TestFaultsNameFilesAsTheManifestDoes(t *testing.T) {
	r := &Recording{Path: "/home/anna/round/intake/a.mov", File: &production.File{Path: "intake/a.mov"}}
	r.Refuse(fault.New(fault.Media, r.Path, "no sound", ""))
	if !isFault(r.Err, fault.Media, "intake/a.mov", "no sound", "") || strings.Contains(r.Err.Error(), "/home") {
		t.Errorf("%v", r.Err)
	}
	other := fault.New(fault.Failed, "/disk", "full", "")
	if r.Refuse(other); r.Err != error(other) || other.Where != "/disk" {
		t.Errorf("%v", r.Err)
	}
	bug := errors.New("a bug")
	if r.Refuse(bug); r.Err != bug {
		t.Errorf("%v", r.Err)
	}
}

// What a file can be used for follows from what it holds, whose it is and where it lies.
func TestWhatARecordingIsGoodFor(t *testing.T) {
	picture, sound := &media.Video{}, &media.Audio{}
	for _, c := range []struct {
		what                   string
		r                      Recording
		usable, heard, visible bool
	}{
		{"nothing", Recording{}, false, false, false},
		{"a placed video", Recording{Role: Video, Info: media.Info{Video: picture, Audio: sound},
			Place: align.Placement{Sure: true}}, true, true, true},
		{"not placed", Recording{Role: Video, Info: media.Info{Video: picture, Audio: sound}}, false, true, true},
		{"an audio file with a picture", Recording{Role: Audio, Info: media.Info{Video: picture, Audio: sound}}, false,
			true, false},
		{"a silent camera", Recording{Role: Video, Info: media.Info{Video: picture}}, false, false, true},
		{"a broken one", Recording{Role: Video, Info: media.Info{Video: picture, Audio: sound}, Err: errors.New("x"),
			Place: align.Placement{Sure: true}}, false, false, false},
	} {
		if c.r.Usable() != c.usable || c.r.HasSound() != c.heard || c.r.HasPicture() != c.visible {
			t.Errorf("%s: usable %v, sound %v, picture %v", c.what, c.r.Usable(), c.r.HasSound(), c.r.HasPicture())
		}
	}
	r := &Recording{Owner: "oboe-1", Role: Video}
	if r.Name() != "oboe-1/video" || r.String() != "oboe-1 (video)" {
		t.Errorf("called %q and %q", r.Name(), r)
	}
}

// A picture that breaks off is shown as far as it goes when a second of it is left,
// and is told once.
func TestPicturesThatBreakOff(t *testing.T) {
	why := errors.New("partial file")
	for _, c := range []struct {
		start, seconds float64
		want           bool
	}{{0, 0.99, false}, {0, 1, true}, {2, 2.5, false}, {2, 3.5, true}, {0, math.NaN(), false}} {
		r := &Recording{Info: media.Info{Duration: 30, Video: &media.Video{Start: c.start, Duration: 30, W: 640,
			H: 480}}}
		r.File = &production.File{}
		if got := r.BreaksOff(c.seconds, why); got != c.want {
			t.Errorf("from %v to %v s: %v", c.start, c.seconds, got)
		}
		if c.want && r.BreaksOff(c.seconds, why) {
			t.Errorf("from %v to %v s: told twice", c.start, c.seconds)
		}
		last := c.start + 30
		if c.want {
			last = c.seconds
		}
		if pic := r.Picture(audio.Clock{}); pic.Last != last {
			t.Errorf("from %v to %v s: the picture ends at %v", c.start, c.seconds, pic.Last)
		}
	}
}

// A file is found by its take and its content, and never when it cannot be used.
func TestFindingRecordings(t *testing.T) {
	s := planned()
	if got := s.Recordings(); len(got) != 3 || got[0].Role != Video || got[1].Role != Audio || got[2].Owner != "horn" {
		t.Fatalf("%v", got)
	}
	a := s.Takes[0].Audio
	if got := s.Find("oboe", a.Hash.String()); got != a {
		t.Errorf("found %v", got)
	}
	for _, c := range [][2]string{{"horn", a.Hash.String()}, {"oboe", ""}, {"oboe", "0"}, {"nobody", a.Hash.String()}} {
		if got := s.Find(c[0], c[1]); got != nil {
			t.Errorf("%q: found %v", c, got)
		}
	}
	if a.Err = errors.New("x"); s.Find("oboe", a.Hash.String()) != nil {
		t.Error("a file that cannot be used was found")
	}
}

// The microphone is heard where both lie for sure, and the camera where only it does;
// a place that is not sure does not beat one that is.
func TestWhoIsHeard(t *testing.T) {
	rec := func(role Role, sure bool) *Recording {
		return &Recording{Role: role, Info: media.Info{Audio: &media.Audio{}}, Place: align.Placement{Sure: sure}}
	}
	silent := &Recording{Role: Video, Place: align.Placement{Sure: true}}
	for _, c := range []struct {
		what         string
		video, audio *Recording
		want         Role
	}{
		{"both sure", rec(Video, true), rec(Audio, true), Audio},
		{"the camera alone is sure", rec(Video, true), rec(Audio, false), Video},
		{"the microphone alone is sure", rec(Video, false), rec(Audio, true), Audio},
		{"neither", rec(Video, false), rec(Audio, false), Video},
		{"a silent camera", silent, rec(Audio, false), Audio},
		{"nothing to hear", silent, nil, ""},
	} {
		got := Take{Video: c.video, Audio: c.audio}.heard()
		if (got == nil) != (c.want == "") || got != nil && got.Role != c.want {
			t.Errorf("%s: %v is heard, want %q", c.what, got, c.want)
		}
	}
}

// What the manifest says of a picture beats what the file says, and only that.
func TestOverrides(t *testing.T) {
	file := media.Video{Rotation: 90, Matrix: "bt709", Transfer: "bt709", Primaries: "bt709", Range: "tv", W: 7}
	turn := 0
	for _, c := range []struct {
		f    production.File
		want string
	}{
		{production.File{}, "90 bt709 bt709 bt709 tv"},
		{production.File{Rotate: &turn}, "0 bt709 bt709 bt709 tv"},
		{production.File{Range: production.FullRange}, "90 bt709 bt709 bt709 pc"},
		{production.File{Range: production.LimitedRange}, "90 bt709 bt709 bt709 tv"},
		{production.File{Colour: production.BT601}, "90 smpte170m smpte170m smpte170m tv"},
		{production.File{Colour: production.HLG}, "90 bt2020nc arib-std-b67 bt2020 tv"}, // ITU-R BT.2100
		{production.File{Colour: production.PQ}, "90 bt2020nc smpte2084 bt2020 tv"},
		{production.File{Colour: production.BT2020}, "90 bt2020nc bt2020-10 bt2020 tv"},
		{production.File{Colour: production.P3}, "90 bt709 bt709 smpte432 tv"}, // SMPTE EG 432-1
		{production.File{Colour: "no such"}, "90 bt709 bt709 bt709 tv"},
	} {
		v := withOverrides(file, &c.f)
		got := fmt.Sprintf("%d %s %s %s %s", v.Rotation, v.Matrix, v.Transfer, v.Primaries, v.Range)
		if got != c.want || v.W != 7 {
			t.Errorf("%+v: %q, want %q", c.f, got, c.want)
		}
	}
	for _, c := range production.Colours {
		if _, ok := colours[c]; !ok {
			t.Errorf("%s has no tags", c)
		}
	}
}

// A picture without a tag is taken for BT.709 from 720 lines on, whichever way it is
// turned, and for BT.601 below (common practice, no source); one in HDR is neither.
func TestUntaggedPictures(t *testing.T) {
	for _, c := range []struct {
		w, h     int
		matrix   string
		transfer string
		want     string
	}{
		{1280, 720, "", "", "bt709"}, {720, 1280, "", "", "bt709"}, {720, 576, "", "", "bt601"},
		{1280, 719, "", "", "bt601"},
		{640, 480, "bt709", "", "bt709"}, {1920, 1080, "smpte170m", "", "smpte170m"}, {1920, 1080, "", "arib-std-b67",
			""},
	} {
		r := &Recording{File: &production.File{}, Info: media.Info{Duration: 12, Video: &media.Video{W: c.w, H: c.h,
			Start: 2, Matrix: c.matrix, Transfer: c.transfer, FPSNum: 30000, FPSDen: 1001}}}
		pic := r.Picture(audio.Clock{Offset: -1, Drift: 5})
		if pic.Matrix != c.want || pic.First != 2 || pic.Last != 12 ||
			pic.Clock != (audio.Clock{Offset: -1, Drift: 5}) ||
			math.Abs(pic.FPS-29.97003) > 1e-5 {
			t.Errorf("%+v: %+v", c, pic)
		}
	}
	r := &Recording{File: &production.File{}, Info: media.Info{Video: &media.Video{W: 8, H: 8}},
		Parts: audio.Break(1, 1)}
	if pic := r.Picture(audio.Clock{}); len(pic.Parts) != 2 || pic.FPS != 0 || pic.Rotate != nil {
		t.Errorf("%+v", pic)
	}
	if r.PartsOfSound = true; r.Picture(audio.Clock{}).Parts != nil {
		t.Error("a whole picture has the parts of its sound")
	}
}

// A take whose sound all lies before the film or behind it is elsewhere; one that only
// touches it is not in it either, and one of unknown length may be.
func TestTakesBesideTheFilm(t *testing.T) {
	line := plan.Timeline{Rate: shot.Rate{Num: 30, Den: 1}, First: 60, Frames: 300} // guide 2 to 12 s
	for _, c := range []struct {
		offset, length float64
		want           bool
	}{
		{0, 10, false}, {-20, 10, true}, {-8, 10, true}, {-7.99, 10, false}, {11.99, 10, false}, {12, 10, true},
		{50, 10, true},
		{-500, 0, false}, {12, 0, true},
	} {
		r := &Recording{Info: media.Info{Duration: c.length}, Place: align.Placement{Offset: c.offset}}
		if got := r.elsewhere(line); got != c.want {
			t.Errorf("at %v for %v s: %v", c.offset, c.length, got)
		}
	}
}

// Takes that are not in have a seat and a fault that says how to bring them in; those
// that are withheld are in nothing, not even among the faults.
func TestFactsOfTakesThatAreNotThere(t *testing.T) {
	man := []production.Take{{Name: "tuba", Expected: true}, {Name: "horn", Release: production.ReleaseNo},
		{Name: "oboe"}}
	r := heardRecording("oboe", Audio, align.ByCuePlaying, 0)
	r.Err = fault.New(fault.Media, "intake/oboe.wav", "no sound", "send it again")
	s := &Set{Takes: []Take{{Take: &man[0]}, {Take: &man[1]}, {Take: &man[2], Audio: r}}}
	facts, faults := s.Facts(nil)
	if _, ok := facts["horn"]; ok || len(facts) != 2 || facts["tuba"].Absent != plan.Awaited ||
		facts["oboe"].Absent != plan.Unreadable {
		t.Errorf("%+v", facts)
	}
	if len(faults) != 2 || faults[0].Kind != KindMissing || faults[0].What != `take "tuba" is not in yet` ||
		!strings.Contains(faults[0].Hint, "video: {file: intake/tuba.mp4}") || faults[1].Kind != KindUnreadable ||
		faults[1].Hint != "send it again" {
		t.Errorf("%+v", faults)
	}
	if got := s.Unreadable(); len(got) != 1 || got[0].Take != "oboe" || got[0].Kind != KindUnreadable {
		t.Errorf("unreadable are %+v", got)
	}
}

// How a picture was framed is told by what decided it: the manifest before the machine,
// a face before a shape before what moves.
func TestHowPicturesWereFramed(t *testing.T) {
	head, body := framing.Box{Right: 0.2, Bottom: 0.2}, framing.Box{Right: 0.8, Bottom: 0.9}
	for _, c := range []struct {
		what   string
		take   production.Take
		person *framing.Person
		want   string
		known  bool
	}{
		{"fitted", production.Take{Fit: layout.Fit, AutoCrop: true}, &framing.Person{Head: head},
			"all of it, as fit says", false},
		{"cropped by hand", production.Take{}, &framing.Person{Head: head}, "as crop says", false},
		{"nobody looked", production.Take{AutoCrop: true}, nil, "the middle: nobody was found", false},
		{"nobody there", production.Take{AutoCrop: true}, &framing.Person{}, "the middle: nobody was found", false},
		{"a face", production.Take{AutoCrop: true}, &framing.Person{Head: head, Face: true}, "the head, by the face",
			true},
		{"a shape", production.Take{AutoCrop: true}, &framing.Person{Head: head},
			"the head, by the shape of what moves", true},
		{"a body", production.Take{AutoCrop: true}, &framing.Person{Body: body}, "what moves", true},
	} {
		person, words := Take{Take: &c.take, Video: &Recording{Subject: c.person}}.Cropped()
		if words != c.want || person.Known() != c.known {
			t.Errorf("%s: %q, somebody %v", c.what, words, person.Known())
		}
	}
	if person, words := (Take{Take: &production.Take{AutoCrop: true}}).Cropped(); person.Known() ||
		words != "the middle: nobody was found" {
		t.Errorf("without a video: %q", words)
	}
}

// A film in HDR needs filters that some builds lack: all takes concerned are told at
// once, and takes in SDR never.
func TestColourNeedsFilters(t *testing.T) {
	rec := func(name, transfer string, role Role) Take {
		return Take{Video: &Recording{Role: role, File: &production.File{Path: name},
			Info: media.Info{Video: &media.Video{Transfer: transfer}}}}
	}
	s := &Set{Takes: []Take{rec("a.mov", "arib-std-b67", Video), rec("b.mov", "bt709", Video),
		rec("c.mov", "smpte2084", Video), rec("d.wav", "smpte2084", Audio)}}
	full := ffmpeg.Recorded(ffmpeg.ParseVersion("ffmpeg version 7.1"), []string{"zscale", "tonemap"}, nil)
	if err := s.RequireColour(full); err != nil {
		t.Error(err)
	}
	lean := ffmpeg.Recorded(ffmpeg.ParseVersion("ffmpeg version 7.1"), []string{"tonemap"}, nil)
	var list fault.List
	if err := s.RequireColour(lean); !errors.As(err, &list) || len(list) != 2 || list[0].Where != "a.mov" ||
		list[1].Where != "c.mov" || !strings.Contains(list[0].What, "zscale") ||
		strings.Contains(list[0].What, "tonemap") ||
		!strings.Contains(list[0].Hint, "SDR") || list[0].Kind != fault.FFmpeg {
		t.Errorf("%v", err)
	}
	s.Takes = s.Takes[1:2]
	if err := s.RequireColour(lean); err != nil {
		t.Errorf("in SDR: %v", err)
	}
}

// opened returns a session of a manifest in a fresh folder. ffmpeg is found and asked
// for nothing.
func opened(t *testing.T, text string) *session.Session {
	t.Helper()
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, manifest.FileName), []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	s, err := session.Open(t.Context(), session.Settings{Dir: dir, Report: progress.New(nil, progress.Quiet),
		Programs: ffmpeg.Options{Found: ffmpegtest.Tool(t)}})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// Looking at takes opens nothing of one that is withheld, and keeps what is wrong with
// a file with that file.
func TestInspectingWhatIsNotThere(t *testing.T) {
	const head = "version: 1\ntitle: x\ntempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}\n"
	if _, err := Inspect(t.Context(), opened(t, head+"takes: []\n")); !isFault(err, fault.Manifest, manifest.FileName,
		"the production has no takes", "add one") {
		t.Errorf("without takes: %v", err)
	}
	s := opened(t, head+`takes:
  - {name: oboe, player: Ada, video: {file: intake/oboe.mov}, audio: {file: intake/oboe.wav}}
  - {name: horn, player: Ben, release: no, video: {file: intake/horn.mov}}
  - {name: tuba, player: Cy, expected: true}
mix: {impulse: hall.wav, room: 0.2}
`)
	set, err := Inspect(t.Context(), s)
	if err != nil || len(set.Takes) != 3 {
		t.Fatalf("%+v, %v", set, err)
	}
	for _, r := range set.Takes[0].Recordings() {
		if !isFault(r.Err, fault.Media, r.File.Path, "", "") || strings.Contains(r.Err.Error(), s.Manifest().Dir) {
			t.Errorf("%s: %v", r, r.Err)
		}
	}
	if set.Takes[1].Recordings() != nil || set.Takes[2].Recordings() != nil {
		t.Error("a take that is withheld or not in has files")
	}
	set.inspectRoom(t.Context(), s)
	if set.Room == nil || !isFault(set.Room.Err, fault.Media, manifest.FileName, `the room "hall.wav" cannot be used`,
		"a recording of one short bang") {
		t.Errorf("the room: %+v", set.Room)
	}
	if err := set.writeMeasured(t.Context(), s.Manifest().Dir); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(s.Manifest().Dir, manifest.MeasuredName))
	if err != nil || strings.Contains(string(data), "oboe") || strings.Contains(string(data), "horn") {
		t.Errorf("written down is %q, %v", data, err)
	}
}

// What is measured is written under the names that may be shown, whole, and not again
// while it is the same.
func TestMeasuredIsWritten(t *testing.T) {
	dir := t.TempDir()
	man := []production.Take{{Name: "oboe", Player: "Mara Voss", HideName: true}, {Name: "horn"}}
	a, b := heardRecording("oboe", Audio, align.ByCuePlaying, 1), heardRecording("horn", Audio, align.ByCue, 2)
	for i, r := range []*Recording{a, b} {
		r.Hash = store.HashBytes([]byte{byte(i)})
		nan := math.NaN()
		r.Place.CueAt, r.Place.CueOffset, r.Place.Lateness, r.Place.ClickDB, r.Place.Uncertainty = nan, nan, nan, nan,
			math.Inf(1)
	}
	a.File.Path, a.Place.Sure, a.Place.Offset, a.Parts = "intake/mara-voss.wav", true, -1.25, audio.Break(10, 0.5)
	s := &Set{Takes: []Take{{Take: &man[0], Audio: a}, {Take: &man[1], Audio: b}}}
	if err := s.writeMeasured(t.Context(), dir); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, manifest.MeasuredName)
	first, err := os.Stat(path)
	data, err2 := os.ReadFile(path)
	if err := errors.Join(err, err2); err != nil {
		t.Fatal(err)
	}
	text := string(data)
	for _, want := range []string{"sound of oboe", "intake/horn.audio", "-1.25", a.Hash.String(), b.Hash.String()} {
		if !strings.Contains(text, want) {
			t.Errorf("no %q in\n%s", want, text)
		}
	}
	if strings.Contains(text, "mara") {
		t.Errorf("a hidden name stands in\n%s", text)
	}
	if err := s.writeMeasured(t.Context(), dir); err != nil {
		t.Fatal(err)
	}
	if now, err := os.Stat(path); err != nil || !os.SameFile(first, now) {
		t.Errorf("the same was written again, %v", err)
	}
}
