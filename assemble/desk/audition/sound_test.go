package audition

import (
	"context"
	"encoding/binary"
	"errors"
	"math"
	"os"
	"path/filepath"
	"slices"
	"testing"

	"ripieno/assemble/intake"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/progress"
	"ripieno/assemble/store"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// ramps writes a WAV whose channels are ramps of different slope, and returns its path.
func ramps(t *testing.T, channels, frames int) string {
	t.Helper()
	b := audio.NewBlock(channels, frames)
	for c := range b {
		for i := range b[c] {
			b[c][i] = float64(i) * float64(c+1) / 1024
		}
	}
	path := filepath.Join(t.TempDir(), "a.wav")
	if _, err := media.CreateWAV(t.Context(), path, audio.NewMemory(b, 8000), media.Float32); err != nil {
		t.Fatal(err)
	}
	return path
}

// floats returns what a page fetched as numbers.
func floats(data []byte) []float64 {
	var list []float64
	for ; len(data) >= 4; data = data[4:] {
		list = append(list, 1024*float64(math.Float32frombits(binary.LittleEndian.Uint32(data))))
	}
	return list
}

// A page fetches the frames it asks for as far as there are any, as the mean of the
// channels or each in turn.
func TestFramesAreFetched(t *testing.T) {
	for _, c := range []struct {
		what         string
		channels     int
		mono         bool
		fetched      int
		from, frames int64
		want         []float64
	}{
		{"one channel", 1, false, 1, 2, 3, []float64{2, 3, 4}},
		{"two in turn", 2, false, 2, 2, 2, []float64{2, 4, 3, 6}},
		{"the mean of two", 2, true, 1, 2, 2, []float64{3, 4.5}},
		{"the mean of four", 4, false, 1, 2, 2, []float64{5, 7.5}}, // a page plays two at most
		{"from before the beginning", 1, false, 1, -5, 2, []float64{0, 1}},
		{"to behind the end", 1, false, 1, 98, 10, []float64{98, 99}},
		{"behind the end", 1, false, 1, 100, 10, nil},
		{"far behind the end", 1, false, 1, math.MaxInt64, math.MaxInt64, nil},
		{"none", 1, false, 1, 5, 0, nil},
		{"fewer than none", 1, false, 1, 5, -3, nil},
	} {
		s, err := openSound(ramps(t, c.channels, 100), c.mono, 0)
		if err != nil || s.Channels != c.fetched || s.Frames != 100 || s.Rate != 8000 {
			t.Fatalf("%s: %+v, %v", c.what, s, err)
		}
		data, err := s.Read(c.from, c.frames)
		if got := floats(data); err != nil || !slices.Equal(got, c.want) {
			t.Errorf("%s: %v, %v, want %v", c.what, got, err, c.want)
		}
	}
}

// A sound is known by what no page can guess at, has its true rate where the label is
// wrong, and is not given out when its file is another one since.
func TestSoundsAreWhatTheyWere(t *testing.T) {
	path := ramps(t, 1, 100)
	s, err := openSound(path, true, 44100)
	again, err2 := openSound(path, true, 44100)
	if err := errors.Join(err, err2); err != nil || s.Rate != 44100 || s.ID != again.ID || len(s.ID) != 24 {
		t.Errorf("%+v, %+v, %v", s, again, err)
	}
	other, err := openSound(ramps(t, 1, 100), true, 0)
	if err != nil || other.ID == s.ID {
		t.Errorf("two sounds are both %s, %v", s.ID, err)
	}
	data, err := os.ReadFile(ramps(t, 1, 50))
	if err := errors.Join(err, os.WriteFile(path, data, 0o666)); err != nil {
		t.Fatal(err)
	}
	if data, err := s.Read(0, 10); data != nil || err == nil || err.Error() != "the sound is not what it was" {
		t.Errorf("of another file: %v, %v", data, err)
	}
	if err := os.Remove(path); err != nil {
		t.Fatal(err)
	}
	if _, err := s.Read(0, 10); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("of no file: %v", err)
	}
	if _, err := openSound(path, true, 0); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("opened: %v", err)
	}
}

// As much as is fetched at once is bounded.
func TestFetchingIsBounded(t *testing.T) {
	s, err := openSound(ramps(t, 1, MostFrames+100), false, 0)
	if err != nil {
		t.Fatal(err)
	}
	data, err := s.Read(50, 2*MostFrames)
	if err != nil || len(data) != 4*MostFrames {
		t.Errorf("%d bytes, %v", len(data), err)
	}
}

// round is four measures of 4/4 at 120 behind two of count-in: 2 s a measure, measure 1
// at guide time 4.
const round = `version: 1
title: Test Round
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}
sections: [{name: winds, gain: 0}, {name: brass, gain: 2}]
takes:
  - {name: oboe, player: Ada, part: Oboe, section: winds, video: {file: intake/oboe.mp4, offset: 0}}
  - {name: horn, player: Ben, part: Horn, section: brass, pan: 40, gain: -3, video: {file: intake/horn.mp4, offset: 0}}
  - {name: drum, player: Cy, part: Drum, release: no, audio: {file: intake/drum.wav, offset: 0}}
  - {name: tuba, player: Dee, part: Tuba, expected: true}
picture: {fps: 30, aspect: 16:9, lead_in: 1, tail: 1}
shots: [{from: start, show: tutti}, {from: m3, to: end, show: solo, take: horn}]
`

// parsed returns the production.
func parsed(t *testing.T) *production.Production {
	t.Helper()
	man, err := manifest.Parse("production.yaml", []byte(round))
	if err != nil {
		t.Fatal(err)
	}
	return man
}

// Beats are those of the guide from its beginning, and the moments at which takes are
// compared are the clap and three downbeats, fewer of a short piece.
func TestBeatsAndMoments(t *testing.T) {
	man := parsed(t)
	list := beats(man.Tempo)
	if len(list) != 24 || list[0].At != 0 || !list[0].CountIn || !list[0].Down || list[8].At != 4 ||
		list[8].Measure != 1 || list[8].CountIn || list[9].At != 4.5 || list[9].Number != 2 || list[9].Down {
		t.Errorf("%d beats: %+v", len(list), list)
	}
	var got []Window
	got = append(got, windows(man.Tempo)...)
	want := []Window{{"the clap", man.Tempo.Cue()}, {"measure 1", 4}, {"measure 3", 8}, {"measure 4", 10}}
	if !slices.Equal(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
	m, err := MusicOf(man)
	if err != nil || m.Zero != 3 || m.Start != 4 || m.End != 13 || len(m.Beats) != 24 ||
		!slices.Equal(m.People, []Playing{{"oboe", "Ada", "Oboe"}, {"horn", "Ben", "Horn"}, {"tuba", "Dee", "Tuba"}}) {
		t.Errorf("%+v, %v", m, err)
	}
}

// The clicks of the guide are made once for a tempo, whoever asks.
func TestTheGuideOfTheDesk(t *testing.T) {
	man := parsed(t)
	one, other := guideTask(man).Task(), guideTask(parsed(t)).Task()
	if one.Action.ID() != other.Action.ID() || one.After != nil {
		t.Errorf("%s and %s, after %v", one.Action.ID(), other.Action.ID(), one.After)
	}
	dst := filepath.Join(t.TempDir(), "guide.wav")
	if err := one.Make(t.Context(), nil, dst, nil); err != nil {
		t.Fatal(err)
	}
	wav, err := media.OpenWAV(dst)
	if err != nil {
		t.Fatal(err)
	}
	defer wav.Close()
	if wav.Rate() != audio.Rate || wav.Frames().Seconds() < man.Tempo.End() {
		t.Errorf("%v s at %d", wav.Frames().Seconds(), wav.Rate())
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := one.Make(ended, nil, filepath.Join(t.TempDir(), "b.wav"), nil); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// recording returns a recording that lies somewhere.
func recording(role takes.Role, offset float64, sure bool) *takes.Recording {
	return &takes.Recording{Owner: "oboe", Role: role, File: &production.File{Path: "intake/oboe." + string(role)},
		Place: align.Placement{Offset: offset, Sure: sure}, Info: media.Info{Duration: 60,
			Audio: &media.Audio{Rate: 48000}}}
}

// The two devices of a player begin at times of their own: a moment of one lies in the
// other by the difference, once both are placed.
func TestLeadOfThePicture(t *testing.T) {
	v, a, nowhere := recording(takes.Video, -2, true), recording(takes.Audio, 3, true), recording(takes.Audio,
		math.NaN(), false)
	for _, c := range []struct {
		video, heard *takes.Recording
		want         float64
	}{{v, a, 5}, {a, v, -5}, {v, v, 0}, {v, nowhere, 0}, {nowhere, a, 0}} {
		if got := pictureLead(c.video, c.heard); got != c.want {
			t.Errorf("%v against %v: %v", c.video.Place.Offset, c.heard.Place.Offset, got)
		}
	}
}

// A take whose place is not sure asks a question, whatever was found; one that the
// manifest fixes says so.
func TestTakesToBePlaced(t *testing.T) {
	take := takes.Take{Take: &production.Take{Name: "oboe", Player: "Ada", Part: "Oboe"}}
	sure, asked, fixed := recording(takes.Audio, 1, true), recording(takes.Audio, 1, false), recording(takes.Audio, 1,
		true)
	at := 4.5
	fixed.File.CueAt = &at
	if got := placedTake(take, sure); got.Asks != "" || got.Fixed || got.Player != "Ada" || got.Name != "oboe" ||
		got.Offset != 1 {
		t.Errorf("%+v", got)
	}
	if got := placedTake(take, asked); got.Asks == "" {
		t.Errorf("%+v", got)
	}
	if got := placedTake(take, fixed); !got.Fixed {
		t.Errorf("%+v", got)
	}
}

// A finding is heard in the file it is about, at the moment it is about, and seen in the
// picture at the same moment of the music.
func TestFindingsAreHeardAndSeen(t *testing.T) {
	path := ramps(t, 2, 100)
	made := func(id string) task.Ref[string] {
		return task.Path(task.Task{ID: id, Action: store.NewAction(id).Ext(".wav"),
			Make: func(_ context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
				data, err := os.ReadFile(path)
				return errors.Join(err, os.WriteFile(tmp, data, 0o666))
			}})
	}
	v, a := recording(takes.Video, -2, true), recording(takes.Audio, 3, true)
	v.Sound, a.Sound, a.Rate = made("v"), made("a"), 44100
	s, err := store.Open(filepath.Join(t.TempDir(), "store"))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Lock(t.Context()); err != nil {
		t.Fatal(err)
	}
	res, err := task.Run(t.Context(), s, progress.New(nil, progress.Quiet), 1, task.Collect(a.Sound))
	if err != nil {
		t.Fatal(err)
	}
	take := takes.Take{Take: &production.Take{Name: "oboe"}, Video: v, Audio: a}
	facts := intake.Facts{Files: []intake.File{{Name: a.File.Path, Info: media.Info{Duration: 60}}}}
	j := &Judging{}
	f := j.found(take, intake.Finding{Code: intake.EndsEarly, File: a.File.Path, What: "it ends early", Sure: 0.9},
		facts, res)
	if f.At != 57 || f.Seen != 62 || f.Sound == nil || f.Sound.Rate != 44100 || f.Sound.Channels != 1 ||
		f.What != "it ends early" || f.Sure != 0.9 {
		t.Errorf("%+v", f)
	}
	if got, ok := j.Sound(f.Sound.ID); !ok || got.Frames != 100 {
		t.Errorf("%+v, %v", got, ok)
	}
	// Of the picture nothing was decoded in this run: it is told and cannot be heard.
	if f := j.found(take, intake.Finding{Code: intake.StartsLate, File: v.File.Path}, facts, res); f.Sound != nil ||
		f.At != 0 {
		t.Errorf("%+v", f)
	}
	a.Err = errors.New("cut off")
	if f := j.found(take, intake.Finding{File: a.File.Path}, facts, res); f.Sound != nil || f.Seen != 0 {
		t.Errorf("of a broken file: %+v", f)
	}
	var nobody *Judging
	if nobody.Placing() != nil {
		t.Error("something of nothing")
	}
	var none Sounds
	if _, ok := none.Sound("x"); ok {
		t.Error("something of nothing")
	}
}

// Stills are asked for of who has a picture, and the error names who has none.
func TestNoPicture(t *testing.T) {
	p := &Placing{files: map[string]*takes.Recording{}}
	_, err := p.Strip(t.Context(), nil, "oboe", 1)
	if want := (NoPicture{"oboe"}); err != error(want) || err.Error() != `there is no picture of take "oboe"` {
		t.Errorf("%v", err)
	}
	flat := recording(takes.Video, 0, true)
	flat.Info.Video = &media.Video{W: 640, H: 0}
	p.files["oboe"] = flat
	if _, err := p.Strip(t.Context(), nil, "oboe", 1); err != error(NoPicture{"oboe"}) {
		t.Errorf("%v", err)
	}
}
