package arrival

import (
	"context"
	"errors"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/ffmpeg/ffmpegtest"
	"ripieno/assemble/media"
	"ripieno/assemble/roll"
	"ripieno/assemble/session"
	"ripieno/assemble/takes"
	"ripieno/mix/audio"
)

// watched is a production of three takes of which two are to come.
const watched = `version: 1
title: Round
tempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}
takes:
  - {name: oboe, player: Mara Voss, part: Oboe, video: {file: intake/mara.mov}}
  - {name: horn-1, player: Ilse Brandt, part: Horn 1, expected: true}
  - {name: viola, player: Davit Sorel, part: Viola, audio: {file: intake/viola.wav}}   # a microphone
`

// watching is a watch whose looks happen one after the other: before each, do is called
// with the number of the look, until it returns false.
type watching struct {
	t      *testing.T
	dir    string
	o      Options
	do     func(look int) bool
	begin  error
	run    error
	faults []takes.Fault // of the rough cut
	told   []Event[string]
	runs   int
}

// start watches until do returns false, and returns the watch's result.
func (w *watching) start() ([]takes.Fault, error) {
	w.t.Helper()
	ctx, stop := context.WithCancel(w.t.Context())
	defer stop()
	tick := make(chan time.Time)
	done := make(chan struct{})
	go func() {
		defer close(done)
		for look := 0; w.do(look); look++ {
			select {
			case tick <- time.Time{}:
			case <-ctx.Done():
				return
			}
		}
		close(tick)
	}()
	w.o.Tick = tick
	set := session.Settings{Dir: w.dir, Out: filepath.Join(w.dir, "out"),
		Programs: ffmpeg.Options{Found: ffmpegtest.Tool(w.t)}}
	list, err := Watch(ctx, set, w.o, Rounds[string]{
		Begin: func(context.Context, session.Settings) (*roll.Snapshot, error) {
			return snapshot("in", "missing"), w.begin
		},
		Run: func(_ context.Context, _ session.Settings, tell func(*roll.Snapshot)) (string, []takes.Fault, error) {
			if w.runs++; w.run != nil {
				return "", nil, w.run
			}
			tell(snapshot("in", "in"))
			return fmt.Sprint("rough ", w.runs), w.faults, nil
		},
	}, func(e Event[string]) { w.told = append(w.told, e) })
	stop()
	<-done
	return list, err
}

// snapshot returns the roll of an oboe and a horn with a status each.
func snapshot(oboe, horn roll.Status) *roll.Snapshot {
	return roll.NewSnapshot(roll.Roll{Takes: []roll.Line{{Name: "oboe", Status: oboe}, {Name: "horn-1", Status: horn}},
		Faults: []takes.Fault{{Take: "viola", What: "needs review"}}}, nil, nil)
}

// events returns what was told, in a few words.
func (w *watching) events() []string {
	var all []string
	for _, e := range w.told {
		all = append(all, strings.TrimSpace(e.Event+" "+e.File+" "+e.Take))
	}
	return all
}

// manifest writes a production at once: a look may be under way.
func (w *watching) manifest(text string) {
	w.t.Helper()
	path := filepath.Join(w.dir, "production.yaml")
	if err := errors.Join(os.WriteFile(path+"~", []byte(text), 0o666), os.Rename(path+"~", path)); err != nil {
		w.t.Fatal(err)
	}
}

// sound writes a recording of a tenth of a second.
func (w *watching) sound(name string) {
	w.t.Helper()
	path := filepath.Join(w.dir, filepath.FromSlash(name))
	x := make([]float64, 4800)
	for i := range x {
		x[i] = 0.1 * math.Sin(float64(i)/10)
	}
	err := os.MkdirAll(filepath.Dir(path), 0o777)
	if err == nil {
		_, err = media.CreateWAV(w.t.Context(), path, audio.NewMemory(audio.Block{x}, audio.Rate), media.PCM16)
	}
	if err != nil {
		w.t.Fatal(err)
	}
}

// newWatch returns a watch of a folder with the production in it.
func newWatch(t *testing.T) *watching {
	w := &watching{t: t, dir: t.TempDir(), do: func(look int) bool { return look < 6 }}
	w.manifest(watched)
	return w
}

// A file that has stopped growing is proposed for the take it is called after, with the
// line as it would have to read, and told once; the manifest stays as it is.
func TestArrivalsAreProposed(t *testing.T) {
	w := newWatch(t)
	w.sound("intake/Ilse horn 1.wav")
	list, err := w.start()
	if err != nil || len(list) != 1 || list[0].Take != "viola" {
		t.Errorf("%+v, %v", list, err)
	}
	if got := w.events(); !slices.Equal(got, []string{"began", "arrived intake/Ilse horn 1.wav horn-1"}) {
		t.Fatalf("told %q", got)
	}
	e := w.told[1]
	if e.Role != takes.Audio || e.Line != 6 || e.Adopted || e.Why != "" ||
		e.Text != "  - {name: horn-1, player: Ilse Brandt, part: Horn 1, audio: {file: intake/Ilse horn 1.wav}}" {
		t.Errorf("%+v", e)
	}
	if data, err := os.ReadFile(filepath.Join(w.dir, "production.yaml")); err != nil || string(data) != watched ||
		w.runs != 0 {
		t.Errorf("%d runs, the manifest is %q, %v", w.runs, data, err)
	}
}

// Adopted, it is written there, and the change that this is makes a round of everything.
func TestArrivalsAreAdopted(t *testing.T) {
	w := newWatch(t)
	w.o.Adopt, w.faults = true, []takes.Fault{{Take: "viola", What: "is told already"},
		{Take: "oboe", What: "breaks off"}}
	w.sound("intake/horn-1.wav")
	list, err := w.start()
	if got := w.events(); err != nil || !slices.Equal(got, []string{"began", "arrived intake/horn-1.wav horn-1",
		"finished"}) {
		t.Fatalf("told %q, %v", got, err)
	}
	data, err := os.ReadFile(filepath.Join(w.dir, "production.yaml"))
	want := strings.Replace(watched, "expected: true", "audio: {file: intake/horn-1.wav}", 1)
	if err != nil || string(data) != want || !w.told[1].Adopted || w.runs != 1 {
		t.Errorf("%d runs, %+v, the manifest is\n%s%v", w.runs, w.told[1], data, err)
	}
	if e := w.told[2]; e.Rough == nil || *e.Rough != "rough 1" ||
		!slices.Equal(e.Changes, []string{"horn-1 was missing and is in"}) {
		t.Errorf("%+v", e)
	}
	var told []string
	for _, f := range list {
		told = append(told, f.Take+" "+f.What)
	}
	if !slices.Equal(told, []string{"viola needs review", "oboe breaks off"}) {
		t.Errorf("faults %q", told)
	}
}

// What nobody can be found for, what a take has already and what cannot be read is told
// with what to do, once each, and stops nothing.
func TestArrivalsThatNeedAPerson(t *testing.T) {
	w := newWatch(t)
	w.sound("intake/IMG_0042.wav")
	w.sound("intake/viola-take3.wav")
	put(t, w.dir, "intake/horn-1.mov", 5) // no recording
	w.o.Adopt = true
	if _, err := w.start(); err != nil {
		t.Fatal(err)
	}
	if got := w.events(); !slices.Equal(got, []string{"began", "unclear intake/IMG_0042.wav",
		"waiting intake/horn-1.mov", "unclear intake/viola-take3.wav viola"}) {
		t.Fatalf("told %q", got)
	}
	for i, want := range [][2]string{{`takes still to come: ["horn-1"]`, "write the file into the manifest"},
		{"horn-1.mov", "looked at again when it changes"}, {`take "viola" already has an audio file`,
			"in place of the other's"}} {
		if e := w.told[i+1]; !strings.Contains(e.Why, want[0]) || !strings.Contains(e.Hint, want[1]) {
			t.Errorf("%+v", e)
		}
	}
	if data, err := os.ReadFile(filepath.Join(w.dir, "production.yaml")); err != nil || string(data) != watched {
		t.Errorf("the manifest is %q, %v", data, err)
	}
}

// A recording among the outputs is told once, with where to put it, and is nobody's.
func TestArrivalsAmongTheOutputs(t *testing.T) {
	w := newWatch(t)
	w.sound("out/horn-1.wav")
	put(t, w.dir, "out/rough.mp4", 5)
	w.o.Adopt = true
	if _, err := w.start(); err != nil {
		t.Fatal(err)
	}
	if got := w.events(); !slices.Equal(got, []string{"began", "strayed out/horn-1.wav"}) {
		t.Fatalf("told %q", got)
	}
	if e := w.told[1]; e.Why != "it lies among the outputs" || !strings.Contains(e.Hint, "intake/") {
		t.Errorf("%+v", e)
	}
}

// Once is done as soon as everything has settled: nothing waits for a tick that nobody
// will give.
func TestWatchingOnce(t *testing.T) {
	w := newWatch(t)
	w.o.Once = true
	looks := 0
	w.do = func(look int) bool { looks = look; return look < 50 }
	list, err := w.start()
	if err != nil || len(list) != 1 || looks > 3 {
		t.Errorf("%d looks, %+v, %v", looks, list, err)
	}
	if got := w.events(); !slices.Equal(got, []string{"began"}) {
		t.Errorf("told %q", got)
	}
}

// A manifest that is being edited is waited for; one that stays broken is told once, and
// mended it goes on. What fails in a round is told with its hint and does not end the
// watch.
func TestTroubleIsTold(t *testing.T) {
	w := newWatch(t)
	w.run = fmt.Errorf("rough: %w", fault.New(fault.FFmpeg, "", "ffmpeg is not there", "install it"))
	w.do = func(look int) bool {
		switch look {
		case 1:
			w.manifest("version: 1\ntitle: [")
		case 2:
			w.manifest(watched) // in time
		case 5:
			w.manifest("version: 1\ntitle: [")
		case 10:
			w.manifest(strings.Replace(watched, "title: Round", "title: Another", 1))
		}
		return look < 18
	}
	if _, err := w.start(); err != nil {
		t.Fatal(err)
	}
	if got := w.events(); !slices.Equal(got, []string{"began", "trouble", "trouble"}) || w.runs != 1 {
		t.Fatalf("%d runs, told %q: %+v", w.runs, got, w.told)
	}
	if e := w.told[1]; !strings.Contains(e.Why, "production.yaml") {
		t.Errorf("%+v", e)
	}
	if e := w.told[2]; e.Why != "rough: ffmpeg is not there" || e.Hint != "install it" {
		t.Errorf("%+v", e)
	}
}

// What stops a watch is the end of the run and what it cannot begin with.
func TestWatchesThatEnd(t *testing.T) {
	w := newWatch(t)
	w.begin = errors.New("no roll")
	if _, err := w.start(); !errors.Is(err, w.begin) || len(w.told) != 0 {
		t.Errorf("%v, told %q", err, w.events())
	}
	w = newWatch(t)
	w.manifest("nonsense: [")
	if _, err := w.start(); fault.KindOf(err) != fault.Manifest {
		t.Errorf("%v", err)
	}
	w = newWatch(t)
	ended, cancel := context.WithCancel(t.Context())
	set := session.Settings{Dir: w.dir}
	_, err := Watch(ended, set, Options{Tick: make(chan time.Time)}, Rounds[string]{
		Begin: func(context.Context, session.Settings) (*roll.Snapshot, error) {
			cancel()
			return snapshot("in", "in"), nil
		},
	}, func(Event[string]) {})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("%v", err)
	}
}

// What looks like a score is found by its ending, with slashes, the outputs aside, those
// of productions below too: their guides are no scores.
func TestScores(t *testing.T) {
	dir := t.TempDir()
	for _, name := range []string{"round.mid", "deep/er/Round.MusicXML", "x.mxl", "y.midi", "z.xml", "out/tempo.mid",
		".hidden.mid", "take.wav", "spring/production.yaml", "spring/out/guide.mid", "old/out/march.mid"} {
		put(t, dir, name, 1)
	}
	got, err := Scores(dir, filepath.Join(dir, "nowhere"))
	if want := []string{"deep/er/Round.MusicXML", "old/out/march.mid", "round.mid", "x.mxl", "y.midi"}; err != nil ||
		!slices.Equal(got, want) {
		t.Errorf("%q, %v, want %q", got, err, want)
	}
}
