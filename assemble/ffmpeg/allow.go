package ffmpeg

import (
	"errors"
	"os"
	"sync"
	"time"

	"ripieno/assemble/fault"
)

// allowances are what files may still take of the processor.
type allowances struct {
	mu    sync.Mutex
	files map[string]*allowance
}

// allowance is what a file was allowed, and what of it has been taken.
type allowance struct {
	content      string
	given, taken time.Duration
}

// ErrSpent is the cause of the fault of a file that has used up what it was allowed.
var ErrSpent = errors.New("the file has used up what it was allowed of the processor")

// leastTime is the least that a process can be given, since the system counts in
// whole seconds. Where less is left, none is started.
const leastTime = time.Second

// Allow bounds the processor's time of all programs together that look at one file
// before it is accepted, see [Command.About]: each is ended when it exceeds its own
// limit or what the others have left, and none is started when nothing is left. More
// patience than usual allows more, less allows less. A second call can only raise the
// allowance, unless the file has another content by then, whose hash content is. It
// counts on Linux alone, as [Limits] do.
func (t *Tool) Allow(file, content string, cpu time.Duration) {
	if t.patience > 0 {
		cpu = time.Duration(float64(cpu) * float64(t.patience) / float64(defaultPatience))
	}
	a := &t.allowed
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.files == nil {
		a.files = map[string]*allowance{}
	}
	if f := a.files[file]; f == nil || f.content != content {
		a.files[file] = &allowance{content: content}
	}
	a.files[file].given = max(a.files[file].given, cpu)
}

// bound returns the limit for a process about a file that has one of its own, of which
// 0 is none, while another about the file takes some time beside it. It reports whether
// enough is left for the process to be started.
func (a *allowances) bound(file string, own, beside time.Duration) (time.Duration, bool) {
	a.mu.Lock()
	defer a.mu.Unlock()
	f := a.files[file]
	if f == nil {
		return own, true
	}
	left := (f.given - f.taken - beside).Truncate(time.Second)
	if left < leastTime {
		return 0, false
	}
	if own > 0 {
		return min(own, left), true
	}
	return left, true
}

// take notes what a process about a file has taken.
func (a *allowances) take(file string, cpu time.Duration) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if f := a.files[file]; f != nil {
		f.taken += cpu
	}
}

// isCounted reports whether what the process takes counts for a file.
func (p *process) isCounted() bool { return !p.several && !p.accepted }

// bounds returns what the process may take of what was asked for, or the fault of a
// file that has used up what it was allowed.
func (p *process) bounds() (Limits, error) {
	l := p.limits
	if !p.isCounted() {
		return l, nil
	}
	var ok bool
	if l.CPU, ok = p.tool.allowed.bound(p.about, l.CPU, p.beside); !ok {
		return l, p.tooDear()
	}
	return l, nil
}

// tooDear returns the fault of a file that takes too much of the processor.
func (p *process) tooDear() error {
	return fault.New(fault.Media, p.about, "looking at it takes much more of the processor than a file of its size "+
		"should", "ask the player for a new export; if you trust the file, run again with more --patience, as 5m").
		Because(ErrSpent)
}

// isSpent reports whether the process ended because its file has used up what it was
// allowed.
func (p *process) isSpent(e *ExitError) bool {
	if !p.isCounted() || e.Signal == "" {
		return false
	}
	_, left := p.tool.allowed.bound(p.about, 0, p.beside)
	return !left
}

// tellUsage counts what the process cost for its file, and tells it whoever wants
// to know.
func (p *process) tellUsage(s *os.ProcessState) {
	if s == nil {
		return
	}
	took := s.UserTime() + s.SystemTime()
	if p.isCounted() {
		p.tool.allowed.take(p.about, took)
	}
	if p.tool.ended != nil {
		p.tool.ended(Usage{append([]string{p.name()}, p.args...), p.about, took, peakMemory(s)})
	}
}
