package ffmpeg

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// TestLimits has programs that ask for more than they may have.
func TestLimits(t *testing.T) {
	tool := play(t, "hungry")
	var used int64
	tool.ended = func(u Usage) { used = u.Memory }
	const most = 300 << 20
	err := tool.Run(context.Background(), Command{Limits: Limits{Memory: most}})
	if _, ok := errors.AsType[*ExitError](err); !ok {
		t.Errorf("two gigabytes of %d bytes: %v", most, err)
	}
	if bound := int64(most + runtime.NumCPU()*threadMemory + 64<<20); used == 0 || used > bound {
		t.Errorf("it had %d bytes, at most %d were to be given", used, bound)
	}
	tool = play(t, "spins")
	var took time.Duration
	tool.ended = func(u Usage) { took = u.CPU }
	err = tool.Run(context.Background(), Command{Limits: Limits{CPU: time.Second}})
	if exit, ok := errors.AsType[*ExitError](err); !ok || exit.Signal == "" {
		t.Errorf("work without an end: %v", err)
	}
	if took < 500*time.Millisecond || took > 3*time.Second {
		t.Errorf("it had the processor for %v, a second was to be given", took)
	}
	// The next program about the same file has what is left, and the fault is the file's.
	tool.Allow("stranger.mp4", "1", 2*time.Second)
	sum := time.Duration(0)
	tool.ended = func(u Usage) { sum += u.CPU }
	for range 2 {
		err := tool.Run(context.Background(), Command{About: "stranger.mp4"})
		if !errors.Is(err, ErrSpent) {
			t.Errorf("work without an end about one file: %v", err)
		}
	}
	if sum > 3*time.Second {
		t.Errorf("two programs had the processor for %v, 2 s were allowed", sum)
	}
	tool = play(t, "writes")
	path := filepath.Join(t.TempDir(), "out")
	err = tool.Run(context.Background(), Command{Args: []string{path}, Limits: Limits{File: 1 << 20}})
	if _, ok := errors.AsType[*ExitError](err); !ok {
		t.Errorf("8 MB where 1 is allowed: %v", err)
	}
	if st, err := os.Stat(path); err != nil || st.Size() > 1<<20 {
		t.Errorf("%v bytes were written, %v", st.Size(), err)
	}
	if err := tool.Run(context.Background(), Command{Args: []string{path}, Limits: Limits{File: 9 << 20}}); err != nil {
		t.Errorf("8 MB where 9 are allowed: %v", err)
	}
}
