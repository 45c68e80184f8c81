package elsewhere

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"ripieno/assemble/farm"
	"ripieno/assemble/fault"
	"ripieno/assemble/session"
	"ripieno/assemble/task"
)

// Borrow returns the session with the machines that its settings invite to, and a
// function that lets them go. They are looked for while the run begins here. When they
// cannot be reached everything is made here; only an invitation that cannot be read is
// an error.
func Borrow(ctx context.Context, s *session.Session) (*session.Session, func(), error) {
	with := s.Settings().With
	if with == "" {
		return s, func() {}, nil
	}
	if _, err := parse("--with", with); err != nil {
		return nil, nil, err
	}
	return borrow(ctx, s, func(ctx context.Context) (fleet, error) {
		return connect(ctx, s.Tool(), with, places(s), s.Settings().Recheck/100, s.Message)
	})
}

// places returns where the files of a session lie for others beside their hub.
func places(s *session.Session) farm.Places {
	return farm.Places{Takes: s.Settings().SeenTakes, Bucket: s.Settings().Bucket}
}

// fleet is machines that help.
type fleet interface {
	task.Away
	// Hear waits until those who are there have said so.
	Hear(ctx context.Context) error
	Close()
}

// borrow does what [Borrow] does, with another way to find machines, which tests give it.
func borrow(ctx context.Context, s *session.Session, join func(context.Context) (fleet, error)) (*session.Session,
	func(), error) {
	l := &later{}
	ctx, stop := context.WithCancel(ctx)
	var looking sync.WaitGroup
	looking.Go(func() {
		found, err := join(ctx)
		var f *fault.Fault
		switch {
		case ctx.Err() != nil && err != nil: // the run has ended before
		case errors.As(err, &f):
			s.Message(f.Error() + "; everything is made here")
		case err != nil:
			s.Message(err.Error() + "; everything is made here")
		default:
			l.set(found)
			if found.Hear(ctx) == nil {
				s.Message(fmt.Sprintf("%d cores of other machines help", found.Cores()))
			}
		}
	})
	return s.Borrowing(l), func() {
		stop()
		looking.Wait()
		if f := l.get(); f != nil {
			f.Close()
		}
	}, nil
}

// Forecast tells what a run would take now, with the machines that the session's
// settings invite to when they can be reached. Unlike a run it waits for the
// machines, since they are what it is asked about.
func Forecast(ctx context.Context, s *session.Session, tasks []task.Task) (task.Forecast, error) {
	if with := s.Settings().With; with != "" {
		found, err := Join(ctx, s.Tool(), with, places(s), s.Message)
		var f *fault.Fault
		switch {
		case errors.As(err, &f) || ctx.Err() != nil:
			return task.Forecast{}, err
		case err != nil:
			s.Message(err.Error() + "; everything would be made here")
		default:
			defer found.Close()
			s = s.Borrowing(found)
		}
	}
	return s.Forecast(ctx, tasks)
}

// later is machines that are still looked for: until then there is room for nothing.
// It lets a run begin here at once instead of waiting for a trial film and the line.
type later struct {
	mu    sync.Mutex
	found fleet
}

// set names the machines once they are known.
func (l *later) set(f fleet) {
	l.mu.Lock()
	l.found = f
	l.mu.Unlock()
}

// get returns the machines, nil while they are looked for.
func (l *later) get() fleet {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.found
}

// Room implements [task.Away].
func (l *later) Room() int {
	if f := l.get(); f != nil {
		return f.Room()
	}
	return 0
}

// Cores implements [task.Away].
func (l *later) Cores() int {
	if f := l.get(); f != nil {
		return f.Cores()
	}
	return 0
}

// Space implements [task.Away].
func (l *later) Space() int64 {
	if f := l.get(); f != nil {
		return f.Space()
	}
	return 0
}

// Make implements [task.Away]. It is not called before there is room.
func (l *later) Make(ctx context.Context, p task.Parcel, dst string) error {
	return l.get().Make(ctx, p, dst)
}

// Doubts implements [task.Away].
func (l *later) Doubts(p task.Parcel) bool { return l.get().Doubts(p) }

// Differs implements [task.Away].
func (l *later) Differs(p task.Parcel, there, here []byte) { l.get().Differs(p, there, here) }
