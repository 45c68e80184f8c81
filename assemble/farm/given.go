package farm

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"

	"ripieno/assemble/order"
)

// given is an order that is out.
type given struct {
	order  order.Order
	tray   string   // in which it waits
	data   []byte   // as it is published
	paths  []string // of its inputs
	since  time.Time
	result chan order.Result
	lost   chan error  // nobody will carry it out
	unsent atomic.Bool // a file was left for workers to find in the folder of takes

	mu     sync.Mutex
	places map[uint64]bool // where it stands in the queue, each until all workers have tried
	copied bool
	again  int // how often it was given because the hub had lost it
}

// errGivenUp is why an order comes home that so many workers took and none finished.
var errGivenUp = errors.New("farm: every worker that took it was lost, or left it")

// errNobody is why an order is not given out.
var errNobody = errors.New("farm: nobody of this class is here")

// errNoHub is why an order is not given out, or not waited for.
var errNoHub = errors.New("farm: the hub is not there")

// publish puts an order into the queue, or a copy of one that is slow. The hub keeps one
// order of a key, the newest.
func (h *Home) publish(ctx context.Context, g *given, second bool) error {
	// The engine may call the order lost before it has told where it stands.
	g.mu.Lock()
	defer g.mu.Unlock()
	at, err := h.js.Publish(ctx, g.subject(second), g.data)
	if err != nil {
		return fmt.Errorf("farm: giving an order: %w", err)
	}
	g.places[at.Sequence] = true
	g.copied = g.copied || second
	return h.nc.Publish(givenSubject(g.order.Class), nil)
}

// subject returns where an order waits, or its copy.
func (g *given) subject(second bool) string {
	key := g.order.Key
	if second {
		key += secondCopy
	}
	return orderSubject(g.order.Class, g.tray, key)
}

// heedGivenUp hears which orders the engine gives to nobody any more, since so many
// workers have tried. The engine names them by their place in the queue, not by key.
func (h *Home) heedGivenUp() error {
	_, err := h.nc.Subscribe(givenUpSubject, func(m *nats.Msg) {
		var up struct {
			Sequence uint64 `json:"stream_seq"`
		}
		if json.Unmarshal(m.Data, &up) != nil {
			return
		}
		h.mu.Lock()
		waiting := make([]*given, 0, len(h.waiting))
		for _, g := range h.waiting {
			waiting = append(waiting, g)
		}
		h.mu.Unlock()
		for _, g := range waiting {
			g.giveUp(up.Sequence)
		}
	})
	return err
}

// giveUp notes that nobody will take what stands at a place of the queue.
func (g *given) giveUp(place uint64) {
	g.mu.Lock()
	defer g.mu.Unlock()
	if !g.places[place] {
		return
	}
	if delete(g.places, place); len(g.places) == 0 {
		select {
		case g.lost <- errGivenUp:
		default:
		}
	}
}

// wait returns the result of an order, and an error when none can be expected: the
// last machine of the class has gone, all have tried, or the hub is away for a lease.
// It looks every third of a lease, so a result that was said while the line was down
// is found by then.
func (h *Home) wait(ctx context.Context, g *given) (order.Result, error) {
	tick := time.NewTicker(lease / beats)
	defer tick.Stop()
	connected := time.Now()
	for {
		select {
		case r := <-g.result:
			return r, nil
		case err := <-g.lost:
			return order.Result{}, err
		case <-ctx.Done():
			return order.Result{}, ctx.Err()
		case <-tick.C:
		}
		if !h.nc.IsConnected() {
			if time.Since(connected) > lease {
				return order.Result{}, errNoHub
			}
			continue
		}
		r, ok, err := h.check(ctx, g)
		if isAway(err) && time.Since(connected) <= lease { // it is only just coming up
			continue
		}
		if ok || err != nil {
			return r, err
		}
		connected = time.Now()
	}
}

// check looks after an order that is out: whether its result was said while nobody
// listened, whether the hub still has it, and whether it is slow.
func (h *Home) check(ctx context.Context, g *given) (order.Result, bool, error) {
	if h.Cores() == 0 {
		return order.Result{}, false, errNobody
	}
	if err := h.settle(ctx); err != nil {
		return order.Result{}, false, err
	}
	if r, ok := h.said(ctx, g.order.Key); ok {
		return r, true, nil
	}
	_, err := h.queue.GetLastMsgForSubject(ctx, g.subject(false))
	switch {
	case isGone(err):
		// It was carried out, or lost. A result is as quick as this.
		if r, ok := h.said(ctx, g.order.Key); ok {
			return r, true, nil
		}
		if g.again++; g.again > tries {
			return order.Result{}, false, errors.New("farm: the hub loses the order again and again")
		}
		h.sent.doubt() // it may have lost more
		return order.Result{}, false, h.giveAgain(ctx, g)
	case err == nil && !g.copied && h.isSlow(g):
		return order.Result{}, false, h.publish(ctx, g, true)
	}
	return order.Result{}, false, nil
}

// slower is how many times longer than others of its rule an order is out before
// another worker gets a copy of it.
const slower = 3

// isSlow reports whether an order is out for long while others have nothing to do.
func (h *Home) isSlow(g *given) bool {
	if h.crew.idle(h.class) == 0 {
		return false
	}
	h.mu.Lock()
	p := h.paces[g.order.Rule]
	h.mu.Unlock()
	usual := time.Duration(slower * p.mean() * float64(time.Second))
	return p.orders > 0 && time.Since(g.since) > max(lease, usual)
}

// pace is how long orders of a rule take.
type pace struct {
	orders  int
	seconds float64
}

// mean returns seconds an order, 0 before the first.
func (p pace) mean() float64 { return p.seconds / float64(max(1, p.orders)) }

// said returns the last result of a key that the hub has.
func (h *Home) said(ctx context.Context, key string) (order.Result, bool) {
	m, err := h.list.GetLastMsgForSubject(ctx, resultSubject(key))
	if err != nil {
		return order.Result{}, false
	}
	r, err := order.DecodeResult(m.Data)
	return r, err == nil
}
