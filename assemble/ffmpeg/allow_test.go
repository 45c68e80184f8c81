package ffmpeg

import (
	"context"
	"errors"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/fault"
)

// TestAFileHasOneAllowance holds what processes about a file may take against what
// those before have taken.
func TestAFileHasOneAllowance(t *testing.T) {
	const s = time.Second
	var a Tool
	a.Allow("a", "1", 10*s)
	for _, c := range []struct {
		what      string
		file      string
		own, want time.Duration // the limit of its own, and what it gets; -1: it is not started
		beside    time.Duration
		takes     time.Duration
	}{
		{"its own limit is less", "a", 4 * s, 4 * s, 0, 3 * s},
		{"another may take some beside it", "a", 9 * s, 5 * s, 2 * s, 0},
		{"what is left is less", "a", 9 * s, 7 * s, 0, 5 * s},
		{"without a limit of its own", "a", 0, 2 * s, 0, 100 * time.Millisecond},
		{"whole seconds are left", "a", 0, s, 0, s},
		{"less than a second is left", "a", 9 * s, -1, 0, 0},
		{"what is left is another's", "b", 9 * s, 9 * s, 30 * s, 9 * s},
		{"another file again", "b", 0, 0, 0, 0},
		{"about no file", "", 5 * s, 5 * s, 0, s},
	} {
		p := process{tool: &a, about: c.file, beside: c.beside, limits: Limits{CPU: c.own, File: 7}}
		got, err := p.bounds()
		if f, ok := errors.AsType[*fault.Fault](err); c.want < 0 {
			if !ok || f.Where != c.file || !strings.Contains(f.Hint, "--patience") || !errors.Is(err, ErrSpent) {
				t.Errorf("%s: %v", c.what, err)
			}
		} else if err != nil || got.CPU != c.want || got.File != 7 {
			t.Errorf("%s: %+v, want %v, %v", c.what, got, c.want, err)
		}
		for _, free := range []process{{several: true}, {accepted: true}} {
			free.tool, free.about, free.limits = &a, c.file, Limits{CPU: c.own}
			if got, err := free.bounds(); err != nil || got.CPU != c.own {
				t.Errorf("%s, with others or accepted: %v, want %v, %v", c.what, got.CPU, c.own, err)
			}
		}
		a.allowed.take(c.file, c.takes)
	}
	a.Allow("a", "1", 4*s) // lowers nothing
	a.Allow("b", "1", 20*s)
	if _, ok := a.allowed.bound("a", 0, 0); ok {
		t.Error("after a lower allowance there is something left")
	}
	if got, ok := a.allowed.bound("b", 0, 0); !ok || got != 20*s {
		t.Errorf("what was taken before counts: %v", got)
	}
	a.Allow("a", "2", 4*s) // the file was replaced
	if got, ok := a.allowed.bound("a", 0, 0); !ok || got != 4*s {
		t.Errorf("what the former file took counts for the next: %v", got)
	}
}

// Patience with programs is patience with files, too.
func TestPatienceAllowsMore(t *testing.T) {
	for patience, want := range map[time.Duration]time.Duration{
		0: 20 * time.Second, time.Minute: 20 * time.Second, 5 * time.Minute: 100 * time.Second,
		6 * time.Second: 2 * time.Second,
	} {
		a := Tool{patience: patience}
		a.Allow("a", "1", 20*time.Second)
		if got, ok := a.allowed.bound("a", 0, 0); !ok || got != want {
			t.Errorf("with a patience of %v a file has %v, want %v", patience, got, want)
		}
	}
}

// What no time is left for is not started at all.
func TestNothingIsStartedForASpentFile(t *testing.T) {
	tool := Tool{FFmpeg: "/nowhere/ffmpeg"} // which would be another error
	tool.Allow("a", "1", 5*time.Second)
	tool.allowed.take("a", 4500*time.Millisecond)
	if err := tool.Run(context.Background(), Command{About: "a"}); !errors.Is(err, ErrSpent) {
		t.Errorf("got %v", err)
	}
	if _, err := tool.Ask(context.Background(), Command{About: "a"}); !errors.Is(err, ErrSpent) {
		t.Errorf("got %v", err)
	}
	if err := tool.Run(context.Background(), Command{About: "a", Accepted: true}); errors.Is(err, ErrSpent) ||
		err == nil {
		t.Errorf("accepted: %v", err)
	}
}
