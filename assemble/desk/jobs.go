package desk

import (
	"context"
	"errors"
	"sync"

	"ripieno/assemble/progress"
)

// jobs runs what takes time, one at a time, and tells how far it is.
type jobs struct {
	ctx  context.Context // of the desk: a job outlives the request that began it
	tell func()          // something about the job has changed

	mu      sync.Mutex
	job     *job // that runs, or ran last; nil before the first
	running sync.WaitGroup
}

// job is one run of a verb.
type job struct {
	name   string
	cancel context.CancelFunc
	ended  bool
	err    error
	meter  *meter
}

// jobState is a job as the page knows it.
type jobState struct {
	Name     string   `json:"name"`
	Running  bool     `json:"running"`
	Fraction float64  `json:"fraction"` // 0 to 1, by estimated cost
	Now      string   `json:"now"`      // what is being done
	Message  string   `json:"message"`  // told last
	Problem  *problem `json:"problem,omitempty"`
}

// start runs work unless another job does. It reports whether it was begun.
func (j *jobs) start(name string, work func(context.Context, progress.Reporter) error) bool {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.job != nil && !j.job.ended {
		return false
	}
	ctx, cancel := context.WithCancel(j.ctx)
	one := &job{name: name, cancel: cancel, meter: &meter{tell: j.tell}}
	j.job = one
	j.running.Go(func() {
		defer cancel()
		err := work(ctx, one.meter)
		j.mu.Lock()
		one.ended, one.err = true, err
		j.mu.Unlock()
		j.tell()
	})
	return true
}

// cancel ends the job that runs; without one it does nothing.
func (j *jobs) cancel() {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.job != nil {
		j.job.cancel()
	}
}

// wait returns when no job runs: the desk is not left while a file is being written.
func (j *jobs) wait() { j.running.Wait() }

// state describes the job that runs or ran last; nil before the first.
func (j *jobs) state() *jobState {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.job == nil {
		return nil
	}
	s := &jobState{Name: j.job.name, Running: !j.job.ended}
	s.Fraction, s.Now, s.Message = j.job.meter.read()
	switch {
	case !j.job.ended:
	case errors.Is(j.job.err, context.Canceled):
		s.Message = "cancelled: nothing unfinished was kept"
	case j.job.err != nil:
		p := problemOf(j.job.err)
		s.Problem = &p
	default:
		s.Fraction = 1
	}
	return s
}

// meter is a [progress.Reporter] that keeps what a page shows.
type meter struct {
	tell func()

	mu      sync.Mutex
	total   float64
	done    float64
	now     string
	message string
}

// Add implements [progress.Reporter].
func (m *meter) Add(stage, name string, cost float64) progress.Work {
	m.mu.Lock()
	defer m.mu.Unlock()
	if !(cost > 0) {
		cost = 1e-3
	}
	m.total += cost
	return &piece{meter: m, cost: cost, text: stage + ": " + name}
}

// Message implements [progress.Reporter].
func (m *meter) Message(text string) {
	m.mu.Lock()
	m.message = text
	m.mu.Unlock()
	m.tell()
}

// Close implements [progress.Reporter].
func (m *meter) Close() {}

// read returns what the page shows of a job: the fraction that is done, 0 to 1, what is being
// made now, and the last message. The fraction may go back, when work is added.
func (m *meter) read() (fraction float64, now, message string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.total > 0 {
		fraction = min(1, m.done/m.total)
	}
	return fraction, m.now, m.message
}

// piece is one announced piece of work.
type piece struct {
	meter *meter
	cost  float64
	text  string
	done  float64 // of its cost
}

// Start implements [progress.Work].
func (p *piece) Start() {
	p.meter.mu.Lock()
	p.meter.now = p.text
	p.meter.mu.Unlock()
	p.meter.tell()
}

// Advance implements [progress.Work].
func (p *piece) Advance(fraction float64) {
	p.meter.mu.Lock()
	if by := min(fraction, 1)*p.cost - p.done; by > 0 {
		p.done += by
		p.meter.done += by
	}
	p.meter.mu.Unlock()
	p.meter.tell()
}

// Finish implements [progress.Work].
func (p *piece) Finish(error) { p.Advance(1) }
