package store

import (
	"context"
	"errors"
	"sync"
)

// flight lets one of several callers with the same key do the work and gives
// the others its result. Unlike a plain single flight, a caller whose own
// context is alive does not inherit the cancellation of the one that worked:
// it takes over.
type flight[K comparable, V any] struct {
	mu    sync.Mutex
	calls map[K]*call[V]
}

// call is work that somebody does; value and err may be read once done is closed.
type call[V any] struct {
	done  chan struct{}
	value V
	err   error
}

// errPanicked is what the waiting callers get when the work panicked.
var errPanicked = errors.New("store: the work this waited for panicked")

// do returns the result of work for a key; who asks for the same meanwhile waits
// for it instead of working as well. A caller whose own context is over gives up,
// the work of others goes on.
func (f *flight[K, V]) do(ctx context.Context, key K, work func() (V, error)) (V, error) {
	for {
		c, mine := f.join(key)
		if mine {
			return f.run(key, c, work)
		}
		select {
		case <-ctx.Done():
			var none V
			return none, ctx.Err()
		case <-c.done:
		}
		if !isCancel(c.err) || ctx.Err() != nil {
			return c.value, c.err
		}
	}
}

// join returns the running call of key, or a new one that is the caller's to
// run.
func (f *flight[K, V]) join(key K) (c *call[V], mine bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if c, ok := f.calls[key]; ok {
		return c, false
	}
	if f.calls == nil {
		f.calls = map[K]*call[V]{}
	}
	c = &call[V]{done: make(chan struct{}), err: errPanicked}
	f.calls[key] = c
	return c, true
}

// run does the work and lets everybody who waits for it know.
func (f *flight[K, V]) run(key K, c *call[V], work func() (V, error)) (V, error) {
	defer func() {
		f.mu.Lock()
		delete(f.calls, key)
		f.mu.Unlock()
		close(c.done)
	}()
	c.value, c.err = work()
	return c.value, c.err
}

// isCancel reports whether an error is the end of somebody's context.
func isCancel(err error) bool {
	return errors.Is(err, context.Canceled) || errors.Is(err, context.DeadlineExceeded)
}
