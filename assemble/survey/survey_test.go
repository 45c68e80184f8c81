package survey

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"image"
	"image/color"
	"image/jpeg"
	"math"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"testing"

	"ripieno/assemble/intake"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/progress"
	"ripieno/assemble/report"
	"ripieno/assemble/store"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/shot"
	"ripieno/mix/align"
	"ripieno/mix/audio"
	"ripieno/mix/playing"
)

// parse reads a manifest of four measures of 2 s behind a count-in of 4 s.
func parse(t *testing.T, takes string) *production.Production {
	t.Helper()
	man, err := manifest.Parse(filepath.Join(t.TempDir(), manifest.FileName),
		[]byte("version: 1\ntitle: Round\ncomposer: Ada Quill\n"+
			"tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}\n"+
			"callsheet: {due: 2031-06-12, send_to: upload.example, contact: Pia Lund}\npicture: {tail: "+
			"2}\ntakes:\n"+takes))
	if err != nil {
		t.Fatal(err)
	}
	return man
}

// The page begins with the guide, or before it where the piece does, and ends with the
// film; every measure has its bar line, and the end too.
func TestWhatThePageSaysOfTheProduction(t *testing.T) {
	man := parse(t, "  - {name: a, audio: {file: a.wav}}\n  - {name: b, release: no, audio: {file: b.wav}}\n")
	r := Page(man, true)
	if r.Title != "Round" || r.Composer != "Ada Quill" || r.Span != [2]float64{0, 14} || r.Start != 4 || !r.Playing ||
		r.PitchHz != 440 || r.Withheld != 1 || r.SendTo != "upload.example" || r.From != "Pia Lund" ||
		r.DueDay.IsZero() {
		t.Errorf("%+v", r)
	}
	if !slices.Equal(r.Bars, []float64{4, 6, 8, 10, 12}) {
		t.Errorf("bars at %v", r.Bars)
	}
	if !slices.Equal(r.Names, []string{"1", "2", "3", "4"}) {
		t.Errorf("measures are called %q", r.Names)
	}
	if Page(man, false).Playing {
		t.Error("nobody asked how they play")
	}
}

// The loudness of a take is drawn where its clock puts it, the loudest step at 1, and
// nothing where there is no recording.
func TestWaveforms(t *testing.T) {
	f := &align.Features{Duration: 2}
	for i := range 200 { // a second at −40 dBFS, then one at −20
		level := uint8(160)
		if i >= 100 {
			level = 200
		}
		f.Level = append(f.Level, level)
	}
	got := waveform(f, audio.Clock{Offset: 1}, [2]float64{0, 4})
	if len(got) != waveColumns {
		t.Fatalf("%d steps", len(got))
	}
	for i, v := range got { // 80 steps a second
		want := -1.0
		switch {
		case i >= 80 && i < 160:
			want = 0.1
		case i >= 160 && i < 240:
			want = 1
		}
		if math.Abs(v-want) > 1e-9 && i%80 != 0 && i%80 != 79 {
			t.Fatalf("step %d is %v, want %v", i, v, want)
		}
	}
	silence := waveform(&align.Features{Duration: 4, Level: make([]uint8, 400)}, audio.Clock{}, [2]float64{0, 4})
	if slices.Max(silence) > 1 || slices.Min(silence) < 0 || slices.ContainsFunc(silence, math.IsNaN) {
		t.Errorf("silence is from %v to %v", slices.Min(silence), slices.Max(silence))
	}
	if gone := waveform(f, audio.Clock{Offset: 100}, [2]float64{0, 4}); slices.Max(gone) != -1 {
		t.Errorf("a take that lies elsewhere is up to %v", slices.Max(gone))
	}
	if none := waveform(&align.Features{}, audio.Clock{}, [2]float64{0, 4}); slices.Max(none) != -1 {
		t.Errorf("nothing is up to %v", slices.Max(none))
	}
}

// What is not known of how somebody played is null on the page and in JSON, and what is
// known is in milliseconds and hundredths.
func TestPlayingAsJSON(t *testing.T) {
	nan := math.NaN()
	r := playing.Report{Name: "oboe"}
	r.Timing.Notes, r.Timing.Spread, r.Timing.Soft = 40, 0.0123456, true
	r.Tuning.Cents, r.Tuning.Spread, r.Tuning.Tones, r.Tuning.Score = nan, math.Inf(1), 3, true
	r.Measures = []playing.Measure{{Off: 0.01}, {Off: nan}}
	r.Missed = []playing.Missed{{From: 3, To: 5, Why: "score"}}
	s := &Survey{Played: map[string]playing.Report{"oboe": r}}
	late := 12.3456
	data, err := json.Marshal(s.Playing("oboe", []report.Place{{}, {LateMS: &late}}))
	want := `{"lateness_ms":12.35,"notes":40,"spread_ms":12.35,"soft":true,"measures_ms":[10,null],"cents":null,` +
		`"cents_spread":null,"tones":3,"score_tuning":true,"missed":[{"from":3,"to":5,"why":"score"}]}`
	if err != nil || string(data) != want {
		t.Errorf("%s, %v\nwant %s", data, err, want)
	}
	if s.Playing("horn", nil) != nil {
		t.Error("somebody was measured who was not")
	}
	data, err = json.Marshal((&Survey{Played: map[string]playing.Report{"x": {}}}).Playing("x", nil))
	want = `{"lateness_ms":null,"notes":0,"spread_ms":0,"soft":false,"measures_ms":[],"cents":0,"cents_spread":0,"tones":0,` +
		`"score_tuning":false,"missed":[]}`
	if err != nil || string(data) != want {
		t.Errorf("%s, %v", data, err)
	}
	page := pagePlaying(r)
	if page.Notes != 40 || math.Abs(*page.SpreadMS-12.3456) > 1e-9 || page.Cents != nil || page.CentsOff != nil ||
		len(page.Measures) != 2 || page.Measures[0] != 10 || len(page.Missed) != 1 || page.Missed[0].Why != "score" {
		t.Errorf("%+v", page)
	}
}

// A level at the floor of what is measured is none.
func TestLevelsOfAFile(t *testing.T) {
	s := intake.Sound{LoudnessLUFS: -23, NoiseDB: intake.Floor, Channels: []intake.Channel{{PeakDB: -9}, {PeakDB: -3}}}
	l := levelsOf("a.wav", s)
	if l.File != "a.wav" || *l.LUFS != -23 || *l.Peak != -3 || l.Back != nil {
		t.Errorf("%+v", l)
	}
	if l := levelsOf("b.wav", intake.Sound{LoudnessLUFS: intake.Floor - 5, NoiseDB: -60}); l.LUFS != nil ||
		l.Peak != nil || *l.Back != -60 {
		t.Errorf("%+v", l)
	}
}

// A thumbnail has the shape of its picture, even sides and no more than its bounds.
func TestSizesOfThumbnails(t *testing.T) {
	for _, c := range [][4]int{{1920, 1080, 224, 126}, {1080, 1920, 70, 126}, {640, 480, 168, 126},
		{4000, 1000, 224, 56}, {100, 100, 126, 126}, {10_000, 10, 224, 2}, {3, 9000, 2, 126}, {1, 1, 126, 126}} {
		w, h := thumbSize(c[0], c[1])
		if w != c[2] || h != c[3] {
			t.Errorf("of %dx%d: %dx%d, want %dx%d", c[0], c[1], w, h, c[2], c[3])
		}
	}
}

// The frame of a take is from the music, in its file; of one whose place is not known at
// the same share of the file. A picture of no length has none.
func TestFramesOfThePage(t *testing.T) {
	man := parse(t, "  - {name: a, audio: {file: a.wav}}\n")
	line := plan.Timeline{Rate: shot.Rate{Num: 10, Den: 1}}
	take := func(name string, sure bool, offset, length float64, w int) takes.Take {
		return takes.Take{Take: &production.Take{Name: name}, Video: &takes.Recording{Owner: name, Role: takes.Video,
			File: &production.File{}, Place: align.Placement{Sure: sure, Offset: offset},
			Info: media.Info{Duration: length, Audio: &media.Audio{},
				Video: &media.Video{W: w, H: 1080, Duration: length, FPSNum: 30, FPSDen: 1}}}}
	}
	set := &takes.Set{Takes: []takes.Take{take("placed", true, 1, 60, 1920), take("unsure", false, 1, 60, 1920),
		take("early", true, -55, 60, 1920), take("late", true, 9, 60, 1920), take("flat", true, 0, 60, 0),
		take("short", true, 0, 0, 1920),
		{Take: &production.Take{Name: "sound"}}}}
	got := frames(set, man, line)
	// The music is from 4 to 12 s: 0.4 of it is at 7.2 s. Of 60 s it is 24 s.
	for name, want := range map[string]int{"placed": 72, "unsure": 240, "early": 48, "late": 90} {
		c, ok := got[name]
		if !ok || c.Frames != (plan.Span{From: want, To: want + 1}) || c.W != 224 || c.H != 126 {
			t.Errorf("%s: %+v, want frame %d", name, c.Frames, want)
		}
	}
	if len(got) != 4 {
		t.Errorf("%d frames", len(got))
	}
	if got["unsure"].Picture.Clock != (audio.Clock{}) || got["placed"].Picture.Clock.Offset != 1 {
		t.Errorf("clocks %+v, %+v", got["unsure"].Picture.Clock, got["placed"].Picture.Clock)
	}
}

// made returns a still of a picture that a run has made, and the run.
func made(t *testing.T, img image.Image) (still, task.Result) {
	t.Helper()
	x := task.Of(task.Task{ID: "still", Action: store.NewAction("still").Ext(".png"),
		Make: func(_ context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			if img == nil {
				return errors.New("no picture")
			}
			return media.WritePNG(tmp, img, 0)
		}}, media.ReadPNG)
	s, err := store.Open(filepath.Join(t.TempDir(), "store"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	if err := s.Lock(t.Context()); err != nil {
		t.Fatal(err)
	}
	res, _ := task.Run(t.Context(), s, progress.New(nil, progress.Quiet), 1, task.Collect(x))
	return still{plan.Conform{W: thumbWide, H: thumbHigh}, x}, res
}

// A frame goes into the page small, however much there is to see in it; pure noise that
// no quality makes small enough is left out, and so is one that could not be read.
func TestThumbnails(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	plain, noise := image.NewNRGBA(image.Rect(0, 0, thumbWide, thumbHigh)),
		image.NewNRGBA(image.Rect(0, 0, thumbWide, thumbHigh))
	for y := range thumbHigh {
		for x := range thumbWide {
			plain.SetNRGBA(x, y, color.NRGBA{uint8(x), uint8(y), 80, 255})
			noise.SetNRGBA(x, y, color.NRGBA{uint8(rng.Uint32()), uint8(rng.Uint32()), uint8(rng.Uint32()), 255})
		}
	}
	x, res := made(t, plain)
	out := report.Reviewed{}
	if err := (&Survey{res: res}).thumbnail(&out, x); err != nil || len(out.Picture) == 0 ||
		len(out.Picture) > thumbBytes || out.W != thumbWide || out.H != thumbHigh {
		t.Errorf("%d bytes, %dx%d, %v", len(out.Picture), out.W, out.H, err)
	}
	img, err := jpeg.Decode(bytes.NewReader(out.Picture))
	if err != nil || img.Bounds().Dx() != thumbWide {
		t.Errorf("%v", err)
	}
	x, res = made(t, noise)
	out = report.Reviewed{}
	if err := (&Survey{res: res}).thumbnail(&out, x); err != nil || len(out.Picture) > thumbBytes {
		t.Errorf("%d bytes of noise, %v", len(out.Picture), err)
	}
	x, res = made(t, nil)
	out = report.Reviewed{}
	if err := (&Survey{res: res}).thumbnail(&out, x); err != nil || out.Picture != nil {
		t.Errorf("%d bytes of nothing, %v", len(out.Picture), err)
	}
}

// Of a take that is not in the page says who is awaited; of one that is in all that was
// measured, with its places, and never the name of somebody who hides it.
func TestTakesOnThePage(t *testing.T) {
	man := parse(t, `  - {name: tuba, player: Cy Marsh, part: Tuba, section: brass, expected: true}
  - {name: oboe, player: Mara Voss, part: Oboe, hide_name: true, video: {file: intake/mara-voss.mov}}
`)
	r := &takes.Recording{Owner: "oboe", Role: takes.Video, File: man.Takes[1].Video,
		Info:     media.Info{Audio: &media.Audio{}},
		Features: &align.Features{Duration: 10, Level: bytes.Repeat([]byte{200}, 1000)},
		Place: align.Placement{Sure: true, Offset: 1, Lateness: 0.02,
			Evidence: []string{"as in intake/mara-voss.mov"}}}
	s := &Survey{man: man, set: &takes.Set{Takes: []takes.Take{{Take: &man.Takes[0]}, {Take: &man.Takes[1], Video: r,
		Heard: r}}}, used: map[string]plan.Facts{"oboe": {Picture: &plan.Picture{}, Sound: &plan.Sound{}}},
		Judged: make([]takes.Judged, 2)}
	s.Judged[1].Facts.Files = []intake.File{{Name: "intake/mara-voss.mov", Sound: &intake.Sound{LoudnessLUFS: -20,
		NoiseDB: -60}}}
	out, err := s.Take(0, "missing", [2]float64{0, 14})
	if err != nil || out.Name != "tuba" || out.Player != "Cy Marsh" || out.Section != "brass" ||
		out.Release != "missing" || out.Wave != nil || len(out.Places) != 0 {
		t.Errorf("%+v, %v", out, err)
	}
	out, err = s.Take(1, "ok", [2]float64{0, 14})
	if err != nil || out.Player != "" || len(out.Files) != 1 || out.Files[0] != "video of oboe" ||
		len(out.Places) != 1 || *out.Places[0].LateMS != 20 || out.Places[0].Evidence[0] != "as in video of oboe" ||
		out.LeftOut || out.Partly || out.Guess ||
		len(out.Wave) != waveColumns || len(out.Levels) != 1 || out.Levels[0].File != "video of oboe" {
		t.Errorf("%+v, %v", out, err)
	}
	if r.Place.Evidence[0] != "as in intake/mara-voss.mov" {
		t.Error("what was measured was changed")
	}
	r.Place.Sure, r.Place.Candidates = false, []align.Candidate{{Offset: 3}}
	if out, err = s.Take(1, "ask", [2]float64{0, 14}); err != nil || !out.Guess || out.Wave[0] != -1 {
		t.Errorf("a guess: %v, %v, %v", out.Guess, out.Wave[0], err)
	}
}

// Thumbnails are even, as ffmpeg wants them, for any picture there can be.
func TestThumbnailsAreEven(t *testing.T) {
	for w := 1; w < 9000; w += 37 {
		for _, h := range []int{1, 2, 99, 480, 1081, 8640} {
			a, b := thumbSize(w, h)
			if a%2 != 0 || b%2 != 0 || a > layout.NearEven(thumbWide) || b > layout.NearEven(thumbHigh) || a < 2 ||
				b < 2 {
				t.Fatalf("of %dx%d: %dx%d", w, h, a, b)
			}
		}
	}
}
