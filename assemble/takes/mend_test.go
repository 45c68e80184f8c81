package takes

import (
	"context"
	"errors"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/progress"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// listened returns the takes of the seam tests with their tasks planned.
func planned() *Set {
	set, _ := oboe(ffmpeg.Recorded(ffmpeg.Version{Text: "7.1"}, nil, nil))
	return set
}

// A recording is taken for several parts or for another rate, and back: its sound is
// then another task with another key, and what listens to it another too. One part
// that is the whole file is no break.
func TestMendingIsAnotherSound(t *testing.T) {
	r := planned().Takes[0].Audio
	plain, features := r.Sound.Task().Action.ID(), r.refs.features.Task().Action.ID()
	broken := audio.Break(10, 0.5)
	seen := map[store.ID]string{plain: "as it is"}
	for _, c := range []struct {
		what  string
		parts audio.Parts
		rate  int
		same  bool // as the plain sound
	}{
		{"no parts", nil, 0, true},
		{"the whole file", audio.Parts{{To: math.Inf(1)}}, 0, true},
		{"its own rate", nil, 48000, true},
		{"broken", broken, 0, false},
		{"another rate", nil, 44100, false},
		{"both", broken, 44100, false},
		{"broken elsewhere", audio.Break(11, 0.5), 0, false},
	} {
		r.mend(slices.Clone(c.parts), c.rate)
		key := r.Sound.Task().Action.ID()
		if (key == plain) != c.same || (r.refs.features.Task().Action.ID() == features) != c.same {
			t.Errorf("%s: the plain sound %v", c.what, key == plain)
		}
		if was, met := seen[key]; met && !c.same {
			t.Errorf("%s has the key of %q", c.what, was)
		}
		seen[key] = c.what
		if !c.same && !slices.Equal(r.Sound.Task().After, []string{"sound/oboe/audio"}) {
			t.Errorf("%s comes after %q", c.what, r.Sound.Task().After)
		}
	}
	if r.mend(nil, 0); r.Sound.Task().Action.ID() != plain || r.Parts != nil || r.Rate != 0 {
		t.Error("what was mended stays so")
	}
}

// Seconds of parts are rounded to what the manifest writes down, so that the next run,
// which reads them there, makes the same.
func TestPartsReadBack(t *testing.T) {
	r := planned().Takes[0].Audio
	r.mend(audio.Break(10.12345678, 0.3333333333), 0)
	if p := r.Parts; len(p) != 2 || p[0].To != 10.123457 || p[1].From != 10.123457 || p[1].Shift != 0.333333 ||
		!math.IsInf(p[1].To, 1) {
		t.Errorf("%+v", p)
	}
	for in, want := range map[float64]float64{0: 0, 1e-7: 0, 5.0000004: 5, -2.0000006: -2.000001,
		12345.678: 12345.678} {
		if got := micro(in); got != want {
			t.Errorf("%v is rounded to %v", in, got)
		}
	}
}

// How long a recording is counts in whole time: with what is missing, without what is
// too much, and at its true rate unless its picture has a time of its own.
func TestLengths(t *testing.T) {
	for _, c := range []struct {
		what  string
		r     Recording
		video bool
		rate  int // of the label; 0: no sound
		want  float64
	}{
		{"whole", Recording{}, false, 48000, 60},
		{"something is missing", Recording{Parts: audio.Break(10, 2)}, false, 48000, 62},
		{"something is too much", Recording{Parts: audio.Break(10, -2)}, false, 48000, 58},
		{"labelled 48000, made at 44100", Recording{Rate: 44100}, false, 48000, 60 * 48.0 / 44.1},
		{"with a picture of its own time", Recording{Rate: 44100}, true, 48000, 60},
		{"a picture alone", Recording{}, true, 0, 60},
	} {
		c.r.Info.Duration = 60
		if c.rate > 0 {
			c.r.Info.Audio = &media.Audio{Rate: c.rate}
		}
		if c.video {
			c.r.Info.Video = &media.Video{}
		}
		if got := c.r.Length(); math.Abs(got-c.want) > 1e-9 {
			t.Errorf("%s: %v s, want %v", c.what, got, c.want)
		}
		c.r.Info.Duration = 0
		if got := c.r.Length(); got != 0 {
			t.Errorf("%s, of unknown length: %v s", c.what, got)
		}
	}
}

// A break needs a part on both sides of it, within the file as it is long: at its true
// rate, and by the sound where that is shorter than the file.
func TestBreaksWithinTheFile(t *testing.T) {
	for _, c := range []struct {
		what     string
		duration float64
		sound    float64
		rate     int
		at, jump float64
		want     bool
	}{
		{"in the middle", 60, 0, 0, 30, 1, true},
		{"at the beginning", 60, 0, 0, 0, 1, false},
		{"at the end", 60, 0, 0, 60, 1, false},
		{"beyond the sound", 60, 20, 0, 30, 1, false},
		{"too much is cut", 60, 0, 0, 30, -30, false},
		{"as much as can be", 60, 0, 0, 30, -29.9, true},
		{"a file of unknown length", 0, 0, 0, 1e6, 1, true},
		{"longer by its true rate", 60, 0, 44100, 63, 1, true},
		{"and not longer than that", 60, 0, 44100, 66, 1, false},
		{"no number", 60, 0, 0, math.NaN(), 1, false},
		{"no end", 60, 0, 0, 30, math.Inf(1), false},
	} {
		r := Recording{Rate: c.rate, Info: media.Info{Duration: c.duration, Audio: &media.Audio{Rate: 48000,
			Duration: c.sound}}}
		parts, ok := r.brokenAt(align.Break{At: c.at, Jump: c.jump})
		if ok != c.want || ok && len(parts) != 2 {
			t.Errorf("%s: %v, %+v", c.what, ok, parts)
		}
	}
}

// Of breaks that are not mended only the last one is told; those that are stay. What
// shows a break is named, and where in the music it is.
func TestBreaksAreTold(t *testing.T) {
	m := parseTempo(t, "  count_in: {measures: 1}\n  changes: [{measure: 1, meter: 4/4, bpm: 120}]\n  measures: 20\n")
	man := &production.Production{Tempo: m, Takes: []production.Take{{Name: "oboe"}}}
	r := &Recording{Owner: "oboe", Info: media.Info{Duration: 60, Audio: &media.Audio{Rate: 48000}}}
	at := func(measure float64) float64 { return m.Start() + 2*(measure-1) } // 2 s a measure of 4/4 at 120
	r.note(man, align.Break{At: 10, Jump: 1, Guide: at(3) + 0.1}, false)
	r.note(man, align.Break{At: 20, Jump: 2, Guide: at(5), By: "silence"}, false)
	if len(r.Broken) != 1 || r.Broken[0].At != 20 || r.Broken[0].By != "silence" || r.Broken[0].Measure != 5 ||
		r.Broken[0].Mended || len(r.Broken[0].Parts) != 2 {
		t.Fatalf("%+v", r.Broken)
	}
	r.note(man, align.Break{At: 30, Jump: 1, Guide: at(7), By: "device"}, true)
	r.note(man, align.Break{At: 40, Jump: 1, Guide: at(9)}, true)
	if len(r.Broken) != 2 || !r.Broken[0].Mended || r.Broken[0].By != "device" || r.Broken[1].By != "playing" ||
		r.Broken[1].Parts != nil || r.Broken[1].Measure != 9 {
		t.Errorf("%+v", r.Broken)
	}
	// A break behind one that is mended is told by the file's own seconds.
	r.Parts = audio.Break(30, 5)
	r.note(man, align.Break{At: 45, Jump: 1, Guide: at(10)}, false)
	if b := r.Broken[2]; b.At != 40 || len(b.Parts) != 3 {
		t.Errorf("%+v", b)
	}
}

// A sound whose parts are put together has what is missing as silence, and one that is
// labelled wrongly has the same samples at another rate.
func TestMendedSounds(t *testing.T) {
	dir := t.TempDir()
	from, to := filepath.Join(dir, "a.wav"), filepath.Join(dir, "b.wav")
	x := noise(2, 0, 0)
	if _, err := media.CreateWAV(t.Context(), from, audio.NewMemory(x, 8000), media.Float32); err != nil {
		t.Fatal(err)
	}
	read := func() (audio.Block, int) {
		t.Helper()
		wav, err := media.OpenWAV(to)
		if err != nil {
			t.Fatal(err)
		}
		defer wav.Close()
		b, err := audio.ReadAll(wav)
		if err != nil {
			t.Fatal(err)
		}
		return b, wav.Rate()
	}
	if err := mendSound(t.Context(), from, audio.Break(0.5, 0.25), 0, to); err != nil {
		t.Fatal(err)
	}
	b, rate := read()
	if rate != 8000 || b.Frames() != 18000 {
		t.Fatalf("%d frames at %d", b.Frames(), rate)
	}
	for i, v := range b[0] {
		want := 0.0
		switch {
		case i < 4000-160: // outside of the fades
			want = x[0][i]
		case i >= 6000+160:
			want = x[0][i-2000]
		case i < 4000+160 || i >= 6000-160:
			continue
		}
		if math.Abs(v-want) > 1e-7 {
			t.Fatalf("sample %d is %v, want %v", i, v, want)
		}
	}
	if err := mendSound(t.Context(), from, nil, 7350, to); err != nil {
		t.Fatal(err)
	}
	if b, rate = read(); rate != 7350 || b.Frames() != 16000 || math.Abs(b[0][777]-x[0][777]) > 1e-7 {
		t.Errorf("%d frames at %d", b.Frames(), rate)
	}
	if err := mendSound(t.Context(), filepath.Join(dir, "gone.wav"), nil, 7350, to); err == nil {
		t.Error("a sound that is not there was mended")
	}
	wrong := audio.Parts{{From: 1, To: 2}, {From: 0, To: 1}}
	if err := mendSound(t.Context(), from, wrong, 0, to); err == nil {
		t.Error("parts out of order were put together")
	}
	ended, cancel := context.WithCancel(t.Context())
	cancel()
	if err := mendSound(ended, from, audio.Break(0.5, 0.25), 0, to); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// A mended sound that cannot be made is given up for the recording as the manifest has
// it; one that the manifest itself says is broken is the user's to mend.
func TestUnmending(t *testing.T) {
	set := planned()
	oboe, horn := set.Takes[0], set.Takes[1].Video
	horn.File.Parts = audio.Break(5, 1)
	horn.mend(horn.File.Parts, 0)
	oboe.Audio.mend(audio.Break(10, 1), 0)
	s, err := store.Open(filepath.Join(t.TempDir(), "store"))
	if err != nil {
		t.Fatal(err)
	}
	defer s.Close()
	if err := s.Lock(t.Context()); err != nil {
		t.Fatal(err)
	}
	tasks := task.Collect(oboe.Video.refs.features, oboe.Audio.refs.features, horn.refs.features)
	for i := range tasks {
		fails := strings.HasPrefix(tasks[i].ID, "mend/")
		tasks[i].Batch = nil
		tasks[i].Make = func(_ context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			if fails {
				return errors.New("broken")
			}
			if strings.HasPrefix(tasks[i].ID, "sound/") {
				return errors.Join(store.Save(filepath.Join(tmp, soundWAV), media.Decoded{}),
					store.Save(filepath.Join(tmp, soundAccount), media.Decoded{}))
			}
			return store.Save(tmp, &align.Features{})
		}
	}
	res, err := task.Run(t.Context(), s, progress.New(nil, progress.Quiet), 1, tasks)
	var failed task.Failures
	if !errors.As(err, &failed) || len(failed) != 2 {
		t.Fatal(err)
	}
	if got := set.unmend(res); fmt.Sprint(got) != "[oboe/audio]" {
		t.Errorf("given up: %q", got)
	}
	if oboe.Audio.Parts != nil || len(horn.Parts) != 2 {
		t.Errorf("the oboe has parts %v, the horn %v", oboe.Audio.Parts, horn.Parts)
	}
	if set.byName("oboe/audio") != oboe.Audio || set.byName("tuba/audio") != nil {
		t.Error("recordings are found by other names")
	}
}
