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
	"ripieno/assemble/plan"
	"ripieno/assemble/plan/plantest"
	"ripieno/assemble/production"
	"ripieno/assemble/progress"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/store"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/shot"
	"ripieno/mix"
	"ripieno/mix/align"
	"ripieno/mix/audio"
	"ripieno/mix/pan"
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

// The picture as it is planned: spans of guide time, holes where pictures are, no source
// of a card. Entries of the manifest's list have their words and their seconds.
func TestThePictureAsPlanned(t *testing.T) {
	pl := plantest.Plan(t, round, true)
	f := filmOf(pl.Films[0], pl.Timeline)
	if len(f.Shots) != 2 || f.Shots[0].From != 3 || f.Shots[0].To != 8 || f.Shots[1].To != 13 ||
		f.Shots[1].Show != "solo" || len(f.Shots[1].Tiles) != 1 {
		t.Fatalf("%+v", f)
	}
	cards, pictures := 0, 0
	for _, tile := range f.Shots[0].Tiles {
		if tile.Source == nil {
			cards++
			if tile.Hole != tile.Rect {
				t.Errorf("a card has a hole: %+v", tile)
			}
		} else if pictures++; tile.Source.W <= 0 || tile.Hole.W <= 0 || tile.Head != nil {
			t.Errorf("%+v", tile)
		}
	}
	if cards != 1 || pictures != 2 {
		t.Errorf("%d cards and %d pictures", cards, pictures)
	}
	head := filmOf(plan.Film{Shots: []plan.Shot{{Tiles: []plan.Tile{{Head: layout.Rect{X: 1, Y: 2, W: 3, H: 4}}}}}},
		plan.Timeline{Rate: shot.Rate{Num: 30, Den: 1}})
	if h := head.Shots[0].Tiles[0].Head; h == nil || h.X != 1 || h.H != 4 {
		t.Errorf("%+v", h)
	}
	l := &Looking{Start: 3, End: 13}
	man := parsed(t)
	first, second := listedShot(man.Shots[0], l), listedShot(man.Shots[1], l)
	if first.From != 3 || first.FromText != "start" || first.To != nil || first.ToText != "" || first.Show != "tutti" ||
		first.Transition != "cut" {
		t.Errorf("%+v", first)
	}
	if second.From != 8 || second.FromText != "m3" || *second.To != 13 || second.ToText != "end" ||
		second.Take != "horn" {
		t.Errorf("%+v", second)
	}
	var nobody *Looking
	if _, ok := nobody.Still("oboe"); ok {
		t.Error("a picture of nothing")
	}
}

// A strip is what the manifest says until the mix knows more: then it has its place, its
// law, its lifts with their ramps, and a sound.
func TestStripsOfTheMix(t *testing.T) {
	man := parsed(t)
	oboe, horn := stripOf(man.Takes[0]), stripOf(man.Takes[1])
	if oboe.PanSet || oboe.Pan != 0 || oboe.Width != 1 || !horn.PanSet || horn.Pan != 40 || horn.Gain != -3 ||
		horn.Section != "brass" {
		t.Errorf("%+v, %+v", oboe, horn)
	}
	l := soundtrack.Loose{From: 48000, Balance: 3, Alone: -21}
	l.Pan, l.Law, l.Width, l.Group, l.Treat.LowCut = -30, pan.Linear, 0.5, 2, -1
	l.Lifts = []mix.Ride{{Span: mix.Span{From: 48000, To: 96000}, Gain: 2}, {Span: mix.Span{From: 0, To: 1},
		Ramp: 24000}}
	oboe.fill(l, Voice{ID: "x", Channels: 2, from: 48000})
	if oboe.Pan != -30 || oboe.Law != "linear" || oboe.Width != 0.5 || oboe.Balance != 3 || oboe.Group != 2 ||
		oboe.LowCut != 0 || *oboe.Loudness != -21 || oboe.Sound == nil || oboe.Sound.Channels != 2 {
		t.Errorf("%+v", oboe)
	}
	if want := []Lift{{1, 2, 2, mix.DefaultRamp.Seconds()}, {0, 1.0 / 48000, 0, 0.5}}; !slices.Equal(oboe.Lifts, want) {
		t.Errorf("%+v", oboe.Lifts)
	}
	never := task.Path(task.Task{ID: "never", Action: store.NewAction("never").Ext(".aac")})
	if err := (&Mixing{}).fill(&horn, l, never, task.Result{}); err == nil || horn.Sound != nil {
		t.Errorf("of a proxy that was not made: %v", err)
	}
}

// The mix as a changed manifest gives it needs nothing to be made: gains, places and
// mutes are the manifest's, what it says nothing of is as the program would have it.
func TestTheMixOfAChangedManifest(t *testing.T) {
	man := parsed(t)
	m := &Mixing{Sections: []Section{{"winds", 0, 0}, {"brass", 2, 1}}}
	for _, take := range man.Takes {
		if !take.IsWithheld() {
			m.Strips = append(m.Strips, stripOf(take))
		}
	}
	m.Strips[1].Group = 2
	changed := parsed(t)
	changed.Sections[1].GainDB, changed.Takes[1].GainDB, changed.Takes[0].Mute = 5, 1.5, true
	changed.Takes[1].Pan = nil
	now := m.As(changed)
	if now.Sections[1].Gain != 5 || now.Strips[1].Group != 5 || now.Strips[1].Gain != 1.5 || !now.Strips[0].Mute ||
		now.Strips[1].PanSet || now.Strips[1].Pan != plan.AutoPans(changed)[1] {
		t.Errorf("%+v, %+v", now.Sections, now.Strips)
	}
	if m.Sections[1].Gain != 2 || m.Strips[1].Gain != -3 || m.Strips[0].Mute || m.Strips[1].Pan != 40 {
		t.Errorf("what there was changed: %+v, %+v", m.Sections, m.Strips)
	}
	if listed(man, 0) != 0 || listed(man, 1) != 1 || listed(man, 2) != -1 {
		t.Error("sections have other numbers")
	}
	man.Sections[1].Declared = false
	if listed(man, 1) != -1 {
		t.Error("a section that only takes name is listed")
	}
}

// Why a take is not heard is the person's own word first, then what went wrong.
func TestWhyATakeIsNotHeard(t *testing.T) {
	for _, c := range []struct {
		take production.Take
		why  string
		want string
	}{
		{production.Take{Mute: true, Expected: true}, "no sound", "muted"}, {production.Take{Expected: true},
			"needs review", "needs review"},
		{production.Take{Expected: true}, "", "not in yet"}, {production.Take{}, "", "not heard in the film"},
	} {
		if got := whyNot(c.take, c.why); got != c.want {
			t.Errorf("%+v, %q: %q, want %q", c.take, c.why, got, c.want)
		}
	}
	if reason(nil) != "it could not be made" || reason(errors.New("full")) != "full" {
		t.Errorf("%q, %q", reason(nil), reason(errors.New("full")))
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
