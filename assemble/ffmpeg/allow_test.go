package ffmpeg

import (
	"testing"
	"time"
)

// TestAFileHasOneAllowance holds what processes about a file may take against what
// those before have taken.
func TestAFileHasOneAllowance(t *testing.T) {
	const s = time.Second
	var a Tool
	a.Allow("a", 10*s)
	for _, c := range []struct {
		what      string
		file      string
		own, want time.Duration // the limit of its own, and what it gets
		takes     time.Duration
	}{
		{"its own limit is less", "a", 4 * s, 4 * s, 3 * s},
		{"what is left is less", "a", 9 * s, 7 * s, 5 * s},
		{"without a limit of its own", "a", 0, 2 * s, 3 * s},
		{"nothing is left but the least", "a", 9 * s, s, s},
		{"another file", "b", 9 * s, 9 * s, 9 * s},
		{"another file again", "b", 0, 0, 0},
		{"about no file", "", 5 * s, 5 * s, s},
	} {
		p := process{tool: &a, about: c.file, limits: Limits{CPU: c.own, File: 7}}
		if got := p.bounds(); got.CPU != c.want || got.File != 7 {
			t.Errorf("%s: %+v, want %v", c.what, got, c.want)
		}
		if together := (&process{tool: &a, about: c.file, several: true, limits: Limits{CPU: c.own}}).bounds(); together.CPU != c.own {
			t.Errorf("%s, with others: %v, want %v", c.what, together.CPU, c.own)
		}
		a.allowed.take(c.file, c.takes)
	}
	a.Allow("a", 4*s) // lowers nothing
	a.Allow("b", 20*s)
	if got := a.allowed.bound("a", 0); got != s {
		t.Errorf("after a lower allowance: %v", got)
	}
	if got := a.allowed.bound("b", 0); got != 20*s {
		t.Errorf("what was taken before counts: %v", got)
	}
}
