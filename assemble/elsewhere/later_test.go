package elsewhere

import (
	"context"
	"errors"
	"runtime"
	"strings"
	"sync"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/assemble/progress"
	"ripieno/assemble/session"
	"ripieno/assemble/task"
)

// heard is a reporter that keeps messages.
type heard struct {
	progress.Reporter
	mu    sync.Mutex
	texts []string
}

func (h *heard) Message(text string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.texts = append(h.texts, text)
}

func (h *heard) all() string {
	h.mu.Lock()
	defer h.mu.Unlock()
	return strings.Join(h.texts, "\n")
}

// crew is a fleet of two cores.
type crew struct{ made, closed int }

func (*crew) Room() int                                         { return 3 }
func (*crew) Cores() int                                        { return 2 }
func (*crew) Space() int64                                      { return 0 }
func (c *crew) Make(context.Context, task.Parcel, string) error { c.made++; return nil }
func (*crew) Doubts(task.Parcel) bool                           { return true }
func (*crew) Differs(task.Parcel, []byte, []byte)               {}
func (*crew) Hear(context.Context) error                        { return nil }
func (c *crew) Close()                                          { c.closed++ }

func sessionWith(with string) (*session.Session, *heard) {
	h := &heard{Reporter: progress.New(nil, progress.Quiet)}
	return session.New(session.Settings{With: with, Report: h}, &production.Production{}, nil), h
}

// TestARunBeginsBeforeOthersAreFound, and has room for nothing elsewhere until then.
func TestARunBeginsBeforeOthersAreFound(t *testing.T) {
	t.Parallel()
	l, c := &later{}, &crew{}
	if l.Room() != 0 || l.Cores() != 0 {
		t.Errorf("room for %d on %d cores", l.Room(), l.Cores())
	}
	l.set(c)
	if l.Room() != 3 || l.Cores() != 2 || l.Make(t.Context(), task.Parcel{}, "") != nil || c.made != 1 ||
		!l.Doubts(task.Parcel{}) {
		t.Errorf("room for %d on %d cores, %d made", l.Room(), l.Cores(), c.made)
	}
	s, h := sessionWith("x")
	found := make(chan struct{})
	_, giveBack, err := borrow(t.Context(), s, func(context.Context) (fleet, error) {
		defer close(found)
		return c, nil
	})
	if err != nil {
		t.Fatal(err)
	}
	<-found
	giveBack()
	if c.closed != 1 || !strings.Contains(h.all(), "2 cores of other machines help") {
		t.Errorf("closed %d times, said %q", c.closed, h.all())
	}
}

// TestWhoCannotBeReachedIsToldOf, unless the run ended before it was known.
func TestWhoCannotBeReachedIsToldOf(t *testing.T) {
	t.Parallel()
	for name, why := range map[string]error{
		"a closed port": errors.New("no hub at this address"),
		"a fault":       fault.New(fault.FFmpeg, "", "no hub at this address", ""),
	} {
		s, h := sessionWith("x")
		said := make(chan struct{})
		_, giveBack, err := borrow(t.Context(), s, func(context.Context) (fleet, error) {
			defer close(said)
			return nil, why
		})
		if err != nil {
			t.Fatal(err)
		}
		<-said
		for h.all() == "" && t.Context().Err() == nil {
			runtime.Gosched()
		}
		giveBack()
		if got := h.all(); !strings.Contains(got, "no hub at this address; everything is made here") {
			t.Errorf("%s: %q", name, got)
		}
	}
	s, h := sessionWith("x")
	_, giveBack, err := borrow(t.Context(), s, func(ctx context.Context) (fleet, error) {
		<-ctx.Done()
		return nil, ctx.Err()
	})
	if err != nil {
		t.Fatal(err)
	}
	giveBack()
	if got := h.all(); got != "" {
		t.Errorf("a run that has ended: %q", got)
	}
}
