package ffmpeg

import (
	"os"
	"sync"
	"time"
)

// allowances are what files may still take of the processor.
type allowances struct {
	mu    sync.Mutex
	files map[string]*allowance
}

// allowance is what a file was allowed, and what of it has been taken.
type allowance struct{ given, taken time.Duration }

// leastTime is what a process always has, since the system counts in whole
// seconds.
const leastTime = time.Second

// Allow bounds the processor's time of all processes from now on that are about
// one file, see [Command.About]: each is ended when it exceeds its own limit or
// what the others have left of the allowance. Of processes that run at the same
// time each may take what is left. A second call can only raise the allowance.
// It counts on Linux alone, as [Limits] do.
func (t *Tool) Allow(file string, cpu time.Duration) {
	a := &t.allowed
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.files == nil {
		a.files = map[string]*allowance{}
	}
	if a.files[file] == nil {
		a.files[file] = &allowance{}
	}
	a.files[file].given = max(a.files[file].given, cpu)
}

// bound returns the limit for a process about a file that has one of its own; 0 is
// none.
func (a *allowances) bound(file string, own time.Duration) time.Duration {
	a.mu.Lock()
	defer a.mu.Unlock()
	f := a.files[file]
	if f == nil {
		return own
	}
	left := max(f.given-f.taken, leastTime)
	if own > 0 {
		return min(own, left)
	}
	return left
}

// take notes what a process about a file has taken.
func (a *allowances) take(file string, cpu time.Duration) {
	a.mu.Lock()
	defer a.mu.Unlock()
	if f := a.files[file]; f != nil {
		f.taken += cpu
	}
}

// bounds returns what the process may take of what was asked for.
func (p *process) bounds() Limits {
	l := p.limits
	if !p.several {
		l.CPU = p.tool.allowed.bound(p.about, l.CPU)
	}
	return l
}

// tellUsage counts what the process cost for its file, and tells it whoever wants
// to know.
func (p *process) tellUsage(s *os.ProcessState) {
	if s == nil {
		return
	}
	took := s.UserTime() + s.SystemTime()
	if !p.several {
		p.tool.allowed.take(p.about, took)
	}
	if p.tool.ended != nil {
		p.tool.ended(Usage{append([]string{p.name()}, p.args...), took, peakMemory(s)})
	}
}
