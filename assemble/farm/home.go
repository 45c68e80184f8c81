package farm

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/singleflight"

	"ripieno/assemble/order"
)

func hashText(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// Home is the machine with the production, connected to a hub.
type Home struct {
	class string
	nc    *nats.Conn
	js    jetstream.JetStream
	crew  crew
	stop  context.CancelFunc

	sending singleflight.Group

	mu      sync.Mutex
	waiting map[string]chan order.Result // by key
	settled uint64                       // how often the connection had been lost when the hub was looked at
}

// Join connects to a hub as the home of a production. Orders go to machines of the
// class only.
func Join(ctx context.Context, in Invitation, class Class) (*Home, error) {
	nc, err := in.dial("home")
	if err != nil {
		return nil, err
	}
	h := &Home{class: class.ID(), nc: nc, waiting: map[string]chan order.Result{}}
	run, stop := context.WithCancel(context.WithoutCancel(ctx))
	h.stop = stop
	if err := h.open(ctx, run); err != nil {
		h.Close()
		return nil, err
	}
	return h, nil
}

// open prepares what Join connected to.
func (h *Home) open(ctx, run context.Context) (err error) {
	if h.js, err = jetstream.New(h.nc); err != nil {
		return err
	}
	if err = h.crew.watch(h.nc); err != nil {
		return err
	}
	if err = h.restore(ctx); err != nil {
		return err
	}
	return h.listen(run)
}

// restore makes what the hub lacks: one that was emptied has nothing of it.
func (h *Home) restore(ctx context.Context) error {
	if _, err := h.js.Stream(ctx, ordersStream); isGone(err) {
		if err := layOut(ctx, h.js, 0); err != nil {
			return err
		}
	}
	return invite(ctx, h.js, h.class)
}

// settle restores what a hub lacks that came back: it may have been emptied.
func (h *Home) settle(ctx context.Context) error {
	lost := h.nc.Stats().Reconnects
	h.mu.Lock()
	known := h.settled == lost
	h.mu.Unlock()
	if known {
		return nil
	}
	if err := h.restore(ctx); err != nil {
		return err
	}
	h.mu.Lock()
	h.settled = lost
	h.mu.Unlock()
	return nil
}

// listen gives results to those who wait for them. Results of other runs are left.
func (h *Home) listen(ctx context.Context) error {
	_, err := h.nc.Subscribe(resultSubject("*"), func(m *nats.Msg) {
		r, err := order.DecodeResult(m.Data)
		if err != nil {
			return
		}
		h.mu.Lock()
		w := h.waiting[r.Key]
		h.mu.Unlock()
		if w == nil {
			return
		}
		select {
		case w <- r:
		default: // one result is as good as another
		}
	})
	if err != nil {
		return err
	}
	return h.nc.Flush()
}

// Close ends the connection. Orders that nobody took are withdrawn by those who
// wait for them.
func (h *Home) Close() {
	h.stop()
	h.nc.Close()
}

// Machines returns who works for the hub, of whatever class.
func (h *Home) Machines() []Machine { return h.crew.present() }

// Cores returns how many cores of this class are present.
func (h *Home) Cores() int {
	n, _ := h.crew.room(h.class)
	return n
}

// errNobody is why an order is not given out.
var errNobody = errors.New("farm: nobody of this class is here")

// Make has a worker carry out an order whose inputs lie at paths, and writes the
// output to tmp: a file, or into a folder that is there. An error says why the output
// has to be made at home; tmp is as it was then, unless it is a folder, which may hold
// part of the files.
func (h *Home) Make(ctx context.Context, o order.Order, paths []string, tmp string) error {
	o.Class = h.class
	data, err := o.Encode()
	if err != nil {
		return err
	}
	if h.Cores() == 0 {
		return errNobody
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	result := make(chan order.Result, 1)
	h.mu.Lock()
	if h.waiting[o.Key] != nil {
		h.mu.Unlock()
		return fmt.Errorf("farm: %s is given out already", o.Key[:12])
	}
	h.waiting[o.Key] = result
	h.mu.Unlock()
	defer func() {
		h.mu.Lock()
		delete(h.waiting, o.Key)
		h.mu.Unlock()
	}()
	if err := h.give(ctx, o, data, paths); err != nil {
		return err
	}
	defer h.withdraw(ctx, o)
	r, err := h.wait(ctx, o, result)
	if err != nil {
		return err
	}
	return h.take(ctx, o, r, tmp)
}

// give sends what an order reads and then the order.
func (h *Home) give(ctx context.Context, o order.Order, data []byte, paths []string) error {
	err := h.settle(ctx)
	if err != nil {
		return err
	}
	read, err := h.js.ObjectStore(ctx, readBucket)
	if err != nil {
		return fmt.Errorf("farm: %w", err)
	}
	for i, f := range o.Inputs {
		_, err, _ := h.sending.Do(f.Hash, func() (any, error) { return nil, send(ctx, read, f, paths[i]) })
		if err != nil {
			return err
		}
	}
	if _, err := h.js.Publish(ctx, orderSubject(o.Class, o.Key), data); err != nil {
		return fmt.Errorf("farm: giving an order: %w", err)
	}
	return nil
}

// wait returns the result of an order, and an error when none can be expected: the
// last machine of the class has gone, or the hub has lost the order.
func (h *Home) wait(ctx context.Context, o order.Order, result chan order.Result) (order.Result, error) {
	tick := time.NewTicker(lease / beats)
	defer tick.Stop()
	for {
		select {
		case r := <-result:
			return r, nil
		case <-ctx.Done():
			return order.Result{}, ctx.Err()
		case <-tick.C:
		}
		if !h.nc.IsConnected() {
			return order.Result{}, errors.New("farm: the hub is not there")
		}
		if h.Cores() == 0 {
			return order.Result{}, errNobody
		}
		if err := h.settle(ctx); err != nil {
			return order.Result{}, err
		}
		// What was said while the connection was down is in the list.
		if r, ok := h.said(ctx, o.Key); ok {
			return r, nil
		}
		s, err := h.js.Stream(ctx, ordersStream)
		if err == nil {
			_, err = s.GetLastMsgForSubject(ctx, orderSubject(o.Class, o.Key))
		}
		if isGone(err) {
			// It was carried out, given up or lost. A result is as quick as this.
			if r, ok := h.said(ctx, o.Key); ok {
				return r, nil
			}
			return order.Result{}, errors.New("farm: the order is lost")
		}
	}
}

// said returns the last result of a key that the hub has.
func (h *Home) said(ctx context.Context, key string) (order.Result, bool) {
	s, err := h.js.Stream(ctx, resultsStream)
	if err != nil {
		return order.Result{}, false
	}
	m, err := s.GetLastMsgForSubject(ctx, resultSubject(key))
	if err != nil {
		return order.Result{}, false
	}
	r, err := order.DecodeResult(m.Data)
	return r, err == nil
}

// take fetches what a worker made.
func (h *Home) take(ctx context.Context, o order.Order, r order.Result, tmp string) error {
	if r.Failed != "" {
		return fmt.Errorf("farm: %s could not make it: %s", r.Worker, r.Failed)
	}
	if err := r.Answers(o); err != nil {
		return err
	}
	made, err := h.js.ObjectStore(ctx, madeBucket)
	if err != nil {
		return err
	}
	for _, f := range r.Files {
		path := tmp
		if f.Name != "" {
			path = filepath.Join(tmp, f.Name)
		}
		if err := fetch(ctx, made, f, path); err != nil {
			return err
		}
	}
	for _, f := range r.Files { // it is home now
		_ = made.Delete(ctx, f.Hash)
	}
	return nil
}

// withdraw takes an order back that nobody needs any more.
func (h *Home) withdraw(ctx context.Context, o order.Order) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	if s, err := h.js.Stream(ctx, ordersStream); err == nil {
		_ = s.Purge(ctx, jetstream.WithPurgeSubject(orderSubject(o.Class, o.Key)))
	}
	if s, err := h.js.Stream(ctx, resultsStream); err == nil {
		_ = s.Purge(ctx, jetstream.WithPurgeSubject(resultSubject(o.Key)))
	}
}
