package ffmpeg

import (
	"fmt"
	"sync/atomic"
	"time"

	"ripieno/assemble/fault"
)

// defaultPatience is how long nothing may be heard of a process whose work needs
// no more. An honest one is heard of several times a second; a minute is what a
// disk of a network may be silent.
const defaultPatience = time.Minute

// Reading returns how long reading or writing so many bytes may take without a word,
// at 5 MB a second, which is an old disk behind a slow network.
func Reading(bytes int64) time.Duration {
	const slow = 5_000_000
	return time.Duration(float64(max(0, bytes)) / slow * float64(time.Second))
}

// StuckError is a process that was ended because nothing had been heard of it
// for too long.
type StuckError struct {
	Program string
	Idle    time.Duration // without a sign of progress
	Tail    []string      // the last lines it wrote to its log
}

// Error says for how long nothing was heard.
func (e *StuckError) Error() string {
	s := fmt.Sprintf("%s made no progress for %v and was ended", e.Program, e.Idle.Round(time.Second))
	if n := len(e.Tail); n > 0 {
		s += ": " + e.Tail[n-1]
	}
	return s
}

// stuck returns the fault of a process that hung: its file's, when it is known.
func (p *process) stuck(e *StuckError) error {
	if p.about == "" {
		return fault.New(fault.FFmpeg, p.name(), "the program hangs",
			"run again; if it hangs again, look at the disk, or install another ffmpeg").Because(e)
	}
	return fault.New(fault.Media, p.about, "reading it makes no progress",
		"look at the disk it lies on and run again with more --patience, or ask the player for a new export").Because(e)
}

// clock tells the time. Tests replace it.
type clock interface {
	// Ticks is a channel on which the time comes every so often, and a function
	// that ends that.
	Ticks(every time.Duration) (<-chan time.Time, func())
}

// systemClock is the real one.
type systemClock struct{}

// Ticks implements clock.
func (systemClock) Ticks(every time.Duration) (<-chan time.Time, func()) {
	t := time.NewTicker(every)
	return t.C, t.Stop
}

// looks is how often a process is looked at within its patience.
const looks = 20

// watchdog ends a process that does not get on. The zero value is ready.
type watchdog struct {
	heard *atomic.Int64 // signs of progress
}

// signs returns where they are counted.
func (w *watchdog) signs() *atomic.Int64 {
	if w.heard == nil {
		w.heard = new(atomic.Int64)
	}
	return w.heard
}

// alive notes a sign of progress. It costs one addition, so it may be called for every packet.
func (w *watchdog) alive() { w.signs().Add(1) }

// reports notes every report that differs from the one before, and passes all
// on to then, unless that is nil.
func (w *watchdog) reports(then func(Progress)) func(Progress) {
	heard := w.signs()
	last := Progress{Frame: -1}
	return func(p Progress) {
		if p.Frame != last.Frame || p.Time != last.Time || p.Bytes != last.Bytes {
			heard.Add(1)
		}
		last = p
		if then != nil {
			then(p)
		}
	}
}

// begin calls end when nothing was heard for as long as the tool's patience and
// more; the function it returns ends the watch. Time that passes while this
// program itself is stopped counts as one look.
func (w *watchdog) begin(t *Tool, more time.Duration, end func(error)) func() {
	heard := w.signs()
	patience := t.patience
	if patience <= 0 {
		patience = defaultPatience
	}
	patience += more
	var c clock = systemClock{}
	if t.clock != nil {
		c = t.clock
	}
	every := patience / looks
	ticks, stop := c.Ticks(every)
	done := make(chan struct{})
	go func() {
		known, idle := heard.Load(), time.Duration(0)
		for {
			select {
			case <-done:
				return
			case <-ticks:
			}
			if now := heard.Load(); now != known {
				known, idle = now, 0
				continue
			}
			if idle += every; idle >= patience {
				end(&StuckError{Idle: idle})
				return
			}
		}
	}()
	return func() { stop(); close(done) }
}
