package progress

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"
)

// screen replays what was written to a terminal and returns its lines; the
// last one is where the cursor is.
func screen(t *testing.T, written string) []string {
	t.Helper()
	lines := []string{""}
	for len(written) > 0 {
		last := &lines[len(lines)-1]
		switch {
		case strings.HasPrefix(written, eraseLine):
			*last, written = "", written[len(eraseLine):]
			continue
		case written[0] == '\n':
			lines = append(lines, "")
		case written[0] < ' ':
			t.Fatalf("control character %q in %q", written[0], written)
		default:
			*last += written[:1]
		}
		written = written[1:]
	}
	return lines
}

func TestBar(t *testing.T) {
	r := newRig(t, Bar)
	r.Message("before any work")
	w := make([]Work, 4)
	for i := range w {
		w[i] = r.Add("conform", fmt.Sprint("take-", i), 10)
	}
	w[0].Start()
	r.pass(1)
	w[0].Advance(0.1)
	r.Message("take-0 is dark")
	r.pass(9)
	w[0].Finish(nil)
	w[1].Start()
	r.pass(5)
	w[1].Advance(0.5)
	written := r.out.take()
	lines := screen(t, written)
	want := []string{"before any work", "take-0 is dark",
		"37% |██████            |  1/4  25s left  conform take-1"}
	if strings.Join(lines, "\n") != strings.Join(want, "\n") {
		t.Errorf("screen\n%q\nwant\n%q", lines, want)
	}
	r.pass(5)
	w[1].Finish(errors.New("bad"))
	if lines = screen(t, r.out.take()); lines[0] != "conform take-1 failed" || !strings.Contains(lines[1], "50% |") {
		t.Errorf("screen %q", lines)
	}
	r.pass(0.05)
	w[2].Start()
	w[2].Advance(0.5)
	if got := r.out.take(); got != "" {
		t.Errorf("drawn again after 50 ms: %q", got)
	}
	r.pass(3)
	r.tick()
	if lines = screen(t, r.out.take()); !strings.Contains(lines[0], "2/4") {
		t.Errorf("screen %q", lines)
	}
	for _, x := range w {
		x.Finish(nil)
	}
	r.pass(1)
	r.tick()
	if lines = screen(t, r.out.take()); !strings.Contains(lines[0], "4/4  0s left") {
		t.Errorf("screen %q", lines)
	}
	more := r.Add("encode", "film", 40) // the bar is not over when it is full
	more.Start()
	r.pass(1)
	r.tick()
	if lines = screen(t, r.out.take()); !strings.Contains(lines[0], "50% |") || !strings.Contains(lines[0], "4/5") {
		t.Errorf("screen %q", lines)
	}
	r.Close()
	if got := r.out.take(); got != eraseLine {
		t.Errorf("at the end: %q", got)
	}
	r.Close()
}

// TestBarFitsTheTerminal: no width and no name lets the line wrap, which would
// leave rubbish on the screen with every redraw.
func TestBarFitsTheTerminal(t *testing.T) {
	for _, width := range []int{1, 20, 40, 60, 80, 200} {
		for _, name := range []string{"oboe", strings.Repeat("long ", 60), strings.Repeat("合奏", 60)} {
			b := newBar(&buffer{}, width)
			line := b.line(state{done: 100, total: 200, fraction: 0.5, left: 3725, current: "conform " + name})
			columns := 0
			for _, r := range line {
				if columns++; r >= 0x1100 && r != '█' {
					columns++
				}
			}
			if columns >= max(width, 24) { // below that there is no room for a bar at all
				t.Errorf("width %d: %d columns: %q", width, columns, line)
			}
			if width >= 60 && !strings.Contains(line, "100/200  1h02m left") {
				t.Errorf("width %d: %q", width, line)
			}
		}
	}
}

// TestTicks: the reporter redraws by itself while nobody reports.
func TestTicks(t *testing.T) {
	r := newRig(t, Bar)
	r.Add("a", "b", 10).Start()
	r.out.take()
	r.pass(5)
	r.ticks <- time.Time{}
	r.ticks <- time.Time{} // taken only when the first has been dealt with
	if got := r.out.take(); !strings.Contains(got, "0/1  5s left") {
		t.Errorf("drawn: %q", got)
	}
}
