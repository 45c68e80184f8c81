package farm

import (
	"context"
	"sync"
)

// ahead is how many orders a worker takes more than it has cores, to have their files
// when a core is free.
const ahead = 1

// hands are the cores of a worker. It asks for an order when a core has none, and for one
// ahead only while all cores work: at the end of a run what one machine holds back another
// could begin.
type hands struct {
	cores int

	mu      sync.Mutex
	change  *sync.Cond
	held    int // orders that are asked for, prepared or made
	working int // of them: are made
}

// newHands returns the hands of a worker of so many cores, at least one, that has nothing
// to do.
func newHands(cores int) *hands {
	h := &hands{cores: cores}
	h.change = sync.NewCond(&h.mu)
	return h
}

// take waits until one more order is to be asked for, and reports whether it is, that is, ctx
// has not ended, and whether it is one ahead.
func (h *hands) take(ctx context.Context) (early, ok bool) {
	ok = h.await(ctx, func() bool { return h.held < h.cores || h.working == h.cores && h.held < h.cores+ahead },
		func() { early = h.held >= h.cores; h.held++ })
	return early, ok
}

// put ends what take began: one place is free for the files of another order.
func (h *hands) put() { h.set(func() { h.held-- }) }

// begin waits until a core is free for an order whose files are there, and reports whether
// one is: ctx has not ended.
func (h *hands) begin(ctx context.Context) bool {
	return h.await(ctx, func() bool { return h.working < h.cores }, func() { h.working++ })
}

// end gives back the core that begin took.
func (h *hands) end() { h.set(func() { h.working-- }) }

// set changes the books and wakes who waits for that.
func (h *hands) set(do func()) {
	h.mu.Lock()
	do()
	h.mu.Unlock()
	h.change.Broadcast()
}

// await does something to the books when may allows it. It reports false when ctx ends
// before that.
func (h *hands) await(ctx context.Context, may func() bool, do func()) bool {
	// The lock keeps the word that ctx has ended from falling between looking and waiting.
	defer context.AfterFunc(ctx, func() { h.set(func() {}) })()
	h.mu.Lock()
	defer h.mu.Unlock()
	for !may() && ctx.Err() == nil {
		h.change.Wait()
	}
	if ctx.Err() != nil {
		return false
	}
	do()
	h.change.Broadcast()
	return true
}
