package assemble

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"ripieno/assemble/arrival"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/progress"
)

// watchManifest is a film of 2.5 s on a tiny canvas.
const watchManifest = `version: 1
title: Test Round
tempo:
  count_in: {measures: 1}
  changes: [{measure: 1, meter: 4/4, bpm: 240}]
  measures: 2
release: yes
takes:
%s
picture: {lead_in: 0.25, tail: 0.25, labels: false}
deliver: [{name: final, canvas: 64x36}]
`

// smallTake returns a marked take of 4 s with a place of its own in the manifest.
func smallTake(name string, id int) marked {
	return marked{name: name, id: id, rate: "30", fps: 30, frames: 120, audio: true, channels: 1,
		clicks: []float64{0.5, 1, 1.5, 2, 2.5, 3}}
}

// looker is a watch whose looks the test calls one by one.
type looker struct {
	t     *testing.T
	tick  chan time.Time
	stop  context.CancelFunc
	ended chan error
	mu    sync.Mutex
	all   []WatchEvent
}

func watchFolder(t *testing.T, dir string, adopt bool) *looker {
	t.Helper()
	ctx, stop := context.WithCancel(t.Context())
	programs := ffmpeg.Options{Found: findTool(t)}
	l := &looker{t: t, tick: make(chan time.Time), stop: stop, ended: make(chan error, 1)}
	go func() {
		_, err := Watch(ctx, Settings{Dir: dir, Report: progress.New(nil, progress.Quiet), Programs: programs},
			WatchOptions{Adopt: adopt, Settled: 4, Tick: l.tick}, func(e WatchEvent) {
				l.mu.Lock()
				defer l.mu.Unlock()
				l.all = append(l.all, e)
			})
		l.ended <- err
	}()
	return l
}

// look lets the watch look n times and returns what it told. A tick is taken
// when the look before it has ended, so the last look may still be going on
// when this returns.
func (l *looker) look(n int) []WatchEvent {
	l.t.Helper()
	for range n {
		select {
		case l.tick <- time.Time{}:
		case err := <-l.ended:
			l.t.Fatalf("the watch ended: %v", err)
		}
	}
	l.mu.Lock()
	defer l.mu.Unlock()
	told := l.all
	l.all = nil
	return told
}

func kinds(events []WatchEvent) string {
	var names []string
	for _, e := range events {
		names = append(names, e.Event)
	}
	return strings.Join(names, " ")
}

// TestWatchAdoptsWhatIsComplete: a take that is still being copied is left
// alone; complete, it is written into the manifest, and the rough cut is made.
func TestWatchAdoptsWhatIsComplete(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	smallTake("oboe.mp4", 1).write(t, tool, dir)
	take := smallTake("late.mp4", 2)
	take.write(t, tool, dir)
	late := filepath.Join(dir, "intake", "late.mp4")
	data, err := os.ReadFile(late)
	if err != nil {
		t.Fatal(err)
	}
	os.Remove(late)
	const expected = "  - {name: horn, player: Ilse Brandt, part: Horn, expected: true}   # in June"
	path := filepath.Join(dir, "production.yaml")
	before := fmt.Sprintf(watchManifest,
		"  - {name: oboe, player: Mara Voss, part: Oboe, video: {file: intake/oboe.mp4, offset: 0}}\n"+expected)
	if err := os.WriteFile(path, []byte(before), 0o666); err != nil {
		t.Fatal(err)
	}
	l := watchFolder(t, dir, true)
	if got := l.look(2); kinds(got) != "began" || got[0].Roll.Counts.Missing != 1 {
		t.Fatalf("at first: %+v", got)
	}
	// It arrives in three pieces, one for two looks. With the look that may
	// still have been going on, each is seen three times at most, not four.
	file := filepath.Join(dir, "intake", "Ilse horn.mp4")
	for i := 1; i <= 3; i++ {
		if err := os.WriteFile(file, data[:len(data)*i/4], 0o666); err != nil {
			t.Fatal(err)
		}
		if got := l.look(2); len(got) > 0 {
			t.Fatalf("a growing file: %+v", got)
		}
	}
	// It stops growing too early: it cannot be read, and that is said once.
	if got := l.look(7); kinds(got) != arrival.Waiting || got[0].File != "intake/Ilse horn.mp4" {
		t.Fatalf("half a file: %+v", got)
	}
	if err := os.WriteFile(file, data, 0o666); err != nil {
		t.Fatal(err)
	}
	got := l.look(12)
	if kinds(got) != "arrived finished" {
		t.Fatalf("a whole file: %+v", got)
	}
	const line = "  - {name: horn, player: Ilse Brandt, part: Horn, video: {file: intake/Ilse horn.mp4}}   # in June"
	if e := got[0]; !e.Adopted || e.Take != "horn" || e.Text != line ||
		strings.Split(before, "\n")[e.Line-1] != expected {
		t.Errorf("the arrival is %+v", e)
	}
	if now, _ := os.ReadFile(path); string(now) != strings.Replace(before, expected, line, 1) {
		t.Errorf("the manifest reads\n%s", now)
	}
	if e := got[1]; e.Rough == nil || !slices.ContainsFunc(e.Changes,
		func(s string) bool { return strings.HasPrefix(s, "horn was missing and is ") }) {
		t.Errorf("after it: %+v", e)
	} else if _, err := os.Stat(e.Rough.Output); err != nil {
		t.Error(err)
	}
	// An edit of the person's makes a new rough cut, once.
	if err := os.WriteFile(path, []byte(strings.Replace(before, expected, line+"\n  - {name: tuba, expected: true}",
		1)), 0o666); err != nil {
		t.Fatal(err)
	}
	if got := l.look(9); kinds(got) != arrival.Finished || !slices.Contains(got[0].Changes, "tuba is new: missing") {
		t.Errorf("after an edit: %+v", got)
	}
	// A manifest with a slip is told once and mended in peace.
	if err := os.WriteFile(path, []byte("version: 1\n"), 0o666); err != nil {
		t.Fatal(err)
	}
	if got := l.look(7); kinds(got) != arrival.Trouble {
		t.Errorf("with a slip: %+v", got)
	}
	l.stop()
	if err := <-l.ended; !errors.Is(err, context.Canceled) {
		t.Errorf("ended with %v", err)
	}
}

// TestWatchProposes: without leave to write, the manifest stays as it is, and
// what is not clear is asked.
func TestWatchProposes(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	path := filepath.Join(dir, "production.yaml")
	before := fmt.Sprintf(watchManifest,
		"  - {name: horn-1, part: Horn 1, expected: true}\n  - {name: horn-2, part: Horn 2, player: Pia Lund, "+
			"expected: true}")
	if err := os.WriteFile(path, []byte(before), 0o666); err != nil {
		t.Fatal(err)
	}
	smallTake("horn-2.mp4", 1).write(t, tool, dir)
	m := smallTake("IMG_0042.mp4", 2)
	m.frames = 30
	m.write(t, tool, dir)
	l := watchFolder(t, dir, false)
	got := l.look(8)
	if kinds(got) != "began unclear arrived" {
		t.Fatalf("%+v", got)
	}
	if e := got[1]; e.File != "intake/IMG_0042.mp4" ||
		e.Why != `no take, player or part is called like that; takes still to come: ["horn-1" "horn-2"]` {
		t.Errorf("%+v", e)
	}
	if e := got[2]; e.Adopted || e.Take != "horn-2" ||
		e.Text != "  - {name: horn-2, part: Horn 2, player: Pia Lund, video: {file: intake/horn-2.mp4}}" {
		t.Errorf("%+v", e)
	}
	if now, _ := os.ReadFile(path); string(now) != before {
		t.Errorf("the manifest was changed:\n%s", now)
	}
	l.stop()
	<-l.ended
}
