package store

import (
	"context"
	"errors"
	"os"
	"sync"
	"sync/atomic"
	"testing"
)

// TestPutOnceForMany: callers that come together make the output once.
func TestPutOnceForMany(t *testing.T) {
	s := locked(t, t.TempDir())
	a := NewAction("conform").Ext(".mkv")
	var calls atomic.Int64
	var wg sync.WaitGroup
	for range 16 {
		wg.Go(func() {
			path, err := s.Put(t.Context(), a, writes("picture", &calls))
			if err != nil {
				t.Error(err)
				return
			}
			wantText(t, path, "picture")
		})
	}
	wg.Wait()
	if calls.Load() != 1 {
		t.Errorf("made %d times", calls.Load())
	}
}

// TestManyKeysAtOnce is for the race detector.
func TestManyKeysAtOnce(t *testing.T) {
	s := locked(t, t.TempDir())
	source := sourceFile(t, "take")
	var wg sync.WaitGroup
	for g := range 4 {
		wg.Go(func() {
			for i := range 6 {
				a := NewAction("rule").Arg("i", (i+g)%8)
				if _, err := s.Put(t.Context(), a, writes("x", nil)); err != nil {
					t.Error(err)
				}
				s.Get(t.Context(), a)
				if _, err := s.HashFile(t.Context(), source); err != nil {
					t.Error(err)
				}
				if _, err := s.List(t.Context()); err != nil {
					t.Error(err)
				}
			}
		})
	}
	wg.Wait()
}

// TestWaiterTakesOver: when the caller that works is cancelled, one that waits
// and is not does the work itself.
func TestWaiterTakesOver(t *testing.T) {
	s := locked(t, t.TempDir())
	a := NewAction("rule")
	ctx, cancel := context.WithCancel(t.Context())
	working := make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		_, err := s.Put(ctx, a, func(string) error {
			close(working)
			<-ctx.Done()
			return ctx.Err()
		})
		if !errors.Is(err, context.Canceled) {
			t.Errorf("the cancelled caller: %v", err)
		}
	})
	<-working
	wg.Go(func() {
		path, err := s.Put(t.Context(), a, func(tmp string) error { return os.WriteFile(tmp, []byte("second"), 0o666) })
		if err != nil {
			t.Error(err)
			return
		}
		wantText(t, path, "second")
	})
	cancel()
	wg.Wait()
}

func TestWaiterLeaves(t *testing.T) {
	var f flight[string, int]
	release, working := make(chan struct{}), make(chan struct{})
	var wg sync.WaitGroup
	wg.Go(func() {
		_, _ = f.do(t.Context(), "key", func() (int, error) { close(working); <-release; return 1, nil })
	})
	<-working
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := f.do(ctx, "key", func() (int, error) { return 2, nil }); !errors.Is(err, context.Canceled) {
		t.Errorf("got %v", err)
	}
	if v, err := f.do(ctx, "other", func() (int, error) { return 3, nil }); v != 3 || err != nil {
		t.Errorf("another key: %d, %v", v, err)
	}
	close(release)
	wg.Wait()
}

func TestPanicReleasesTheOthers(t *testing.T) {
	s := locked(t, t.TempDir())
	a := NewAction("rule")
	func() {
		defer func() {
			if recover() == nil {
				t.Error("the panic was swallowed")
			}
		}()
		_, _ = s.Put(t.Context(), a, func(string) error { panic("bug") })
	}()
	wantText(t, mustPut(t, s, a, "later"), "later")
	wantSwept(t, s)
}
