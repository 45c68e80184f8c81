package session

import (
	"context"
	"path/filepath"
	"sync"

	"ripieno/assemble/interchange"
	"ripieno/assemble/task"
)

// profile notes what ran from when to when. It may be used from any goroutine.
type profile struct {
	mu     sync.Mutex
	events []interchange.Slice
}

// add notes what a worker did.
func (p *profile) add(r task.Ran) {
	e := interchange.Slice{Category: r.Stage, Name: r.Name, Lane: r.Worker, From: r.Began, To: r.Ended}
	if r.Err != nil {
		e.Error = r.Err.Error()
	}
	p.mu.Lock()
	defer p.mu.Unlock()
	p.events = append(p.events, e)
}

// Events returns what ran from when to when, in the order in which it ended; nothing
// without [Settings.Profile].
func (s *Session) Events() []interchange.Slice {
	if s.ran == nil {
		return nil
	}
	s.ran.mu.Lock()
	defer s.ran.mu.Unlock()
	return append([]interchange.Slice(nil), s.ran.events...)
}

// WriteProfile writes what ran from when to when to [Settings.Profile], if there is a
// name. It fails when the file cannot be written.
func (s *Session) WriteProfile(ctx context.Context) error {
	if s.set.Profile == "" {
		return nil
	}
	data, err := interchange.Trace("ripieno", s.Events())
	if err != nil {
		return err
	}
	path, err := OutFile(filepath.Dir(s.set.Profile), filepath.Base(s.set.Profile))
	if err != nil {
		return err
	}
	return Publish(ctx, path, data)
}
