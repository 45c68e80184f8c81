package demo

import (
	"sync"

	"ripieno/assemble/demo/score"
	"ripieno/mix/tempo"
)

// Options say which demo is made.
type Options struct {
	// Seed decides the lots: start times, clocks and human timing. Every
	// value is good, also 0.
	Seed uint64
	// Workers is how many players are recorded at the same time; 0 or less:
	// one for each processor. It changes no byte of the result.
	Workers int
	// Draft has two drawings a second, each in as many frames as there are in
	// half a second, and encodes picture and sound quickly, for tests that need no smooth movement:
	// drawing and encoding are most of the work.
	Draft bool
	// Without leaves takes out, by their names. The others are the same.
	Without []string
}

// production is a demo that is decided but not made.
type production struct {
	piece   score.Piece
	tempo   *tempo.Map
	cast    []player
	options Options
	text    string // production.yaml
}

// progress adds up what the workers have done.
type progress struct {
	mu          sync.Mutex
	report      func(done, total float64, what string)
	done, total float64
}

// add counts units of work and tells the listener.
func (p *progress) add(units float64, what string) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.done += units
	if p.report != nil {
		p.report(p.done, p.total, what)
	}
}
