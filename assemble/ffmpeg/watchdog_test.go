//go:build unix

package ffmpeg

import (
	"context"
	"errors"
	"io"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/fault"
)

// fastClock ticks as fast as anybody looks.
type fastClock struct{}

func (fastClock) Ticks(time.Duration) (<-chan time.Time, func()) {
	ticks := make(chan time.Time)
	close(ticks)
	return ticks, func() {}
}

// onWord ticks only after something was written to it.
type onWord struct{ ticks chan time.Time }

func (o onWord) Ticks(time.Duration) (<-chan time.Time, func()) { return o.ticks, func() {} }

// hangs runs a made-up program that hangs.
func hangs(t *testing.T, role string, run func(*Tool) error) *fault.Fault {
	t.Helper()
	tool := play(t, role)
	tool.clock, tool.wait = fastClock{}, time.Millisecond
	err := run(tool)
	stuck, ok := errors.AsType[*StuckError](err)
	if !ok {
		t.Fatalf("%s: got %v, want a StuckError", role, err)
	}
	if stuck.Idle < defaultPatience {
		t.Errorf("%s: ended after %v", role, stuck.Idle)
	}
	f, _ := errors.AsType[*fault.Fault](err)
	return f
}

// TestAChildThatHangsIsEnded has programs that say nothing, that ignore being
// asked to end, and that report without getting on.
func TestAChildThatHangsIsEnded(t *testing.T) {
	for _, role := range []string{"mute and stubborn", "repeats itself"} {
		f := hangs(t, role, func(tool *Tool) error {
			return tool.Run(context.Background(), Command{About: "intake/mara.mov", Progress: func(Progress) {}})
		})
		if f.Kind != fault.Media || f.Where != "intake/mara.mov" || !strings.Contains(f.Hint, "--patience") {
			t.Errorf("%s: %+v", role, f)
		}
	}
	f := hangs(t, "mute and stubborn", func(tool *Tool) error {
		_, err := tool.Ask(context.Background(), Command{About: "intake/mara.mov"})
		return err
	})
	if f.Where != "intake/mara.mov" {
		t.Errorf("a question: %+v", f)
	}
	// Nobody's file: the program's own fault, which ends the run.
	if f := hangs(t, "mute and stubborn",
		func(tool *Tool) error { return tool.Run(context.Background(), Command{}) }); f.Kind != fault.FFmpeg {
		t.Errorf("without a file: %+v", f)
	}
}

// TestWhoGetsOnIsLeftAlone looks at a program that copies what it is fed: as
// long as something comes between two looks it lives, however many there are.
func TestWhoGetsOnIsLeftAlone(t *testing.T) {
	tool := play(t, "copy")
	clock := onWord{make(chan time.Time)}
	tool.clock = clock
	r, w := io.Pipe()
	back := make(chan struct{})
	go func() {
		for range 3 * looks {
			io.WriteString(w, "x")
			<-back
			clock.ticks <- time.Time{}
		}
		w.Close()
	}()
	err := tool.Run(context.Background(), Command{Stdin: r, Stdout: writer(func(p []byte) (int, error) {
		for range p {
			back <- struct{}{}
		}
		return len(p), nil
	})})
	if err != nil {
		t.Error(err)
	}
}

// writer makes a function an io.Writer.
type writer func([]byte) (int, error)

func (w writer) Write(p []byte) (int, error) { return w(p) }

// TestPatienceIsByTheWork: what has much to do before it is heard of has longer,
// and a setting moves both.
func TestPatienceIsByTheWork(t *testing.T) {
	tool := play(t, "mute and stubborn")
	tool.clock, tool.wait, tool.patience = fastClock{}, time.Millisecond, 2*time.Minute
	err := tool.Run(context.Background(), Command{Patience: time.Hour})
	if stuck, ok := errors.AsType[*StuckError](err); !ok || stuck.Idle < time.Hour+2*time.Minute {
		t.Errorf("got %v", err)
	}
}

// A version that never comes must not hold up a run.
func TestFindDoesNotWaitForEver(t *testing.T) {
	tool := play(t, "mute and stubborn")
	o := Options{FFmpeg: tool.FFmpeg, FFprobe: tool.FFprobe}
	if _, err := o.find(context.Background(), fastClock{}); fault.KindOf(err) != fault.FFmpeg {
		t.Errorf("got %v", err)
	}
}
