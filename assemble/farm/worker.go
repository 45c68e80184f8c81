package farm

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"ripieno/assemble/order"
)

// Rule makes the output of an order. in are the paths of its inputs, in their order,
// to be read only; dst is the output: a file that is not there yet, or an empty
// folder. It may use the folder of dst as scratch, and ends soon after ctx does.
type Rule func(ctx context.Context, args []byte, in []string, dst string) error

// WorkerOptions say who works, and how.
type WorkerOptions struct {
	Name  string // small letters, digits, hyphens; unique at the hub
	Cores int    // orders at once
	Space int64  // bytes of files that are kept
	Dir   string // for them and for scratch; removed at the end
	Class Class
	Rules map[string]Rule
	// Tell is called when something happens that a person wants to read; nil for
	// nobody.
	Tell func(text string)
}

// worker carries out orders.
type worker struct {
	WorkerOptions
	nc    *nats.Conn
	js    jetstream.JetStream
	cache *cache
	made  jetstream.ObjectStore

	mu    sync.Mutex
	doing map[string]string // rule by key
}

// Work carries out orders of a hub until ctx ends. It waits while there are none,
// and while the hub is not there.
func Work(ctx context.Context, in Invitation, o WorkerOptions) error {
	if o.Tell == nil {
		o.Tell = func(string) {}
	}
	nc, err := in.dial(o.Name, nats.CustomInboxPrefix(inboxPrefix+"."+o.Name))
	if err != nil {
		return err
	}
	defer nc.Close()
	w := &worker{WorkerOptions: o, nc: nc, doing: map[string]string{}}
	defer os.RemoveAll(o.Dir)
	if err := w.open(ctx); err != nil {
		return err
	}
	// Announcing ends after the orders, so that its last word is the last.
	var said sync.WaitGroup
	here, leave := context.WithCancel(context.WithoutCancel(ctx))
	said.Go(func() { announce(here, nc, w.machine) })
	var work sync.WaitGroup
	for range max(1, o.Cores) {
		work.Go(func() { w.loop(ctx) })
	}
	work.Wait()
	leave()
	said.Wait()
	return ctx.Err()
}

// open finds what the worker needs at the hub.
func (w *worker) open(ctx context.Context) error {
	var err error
	if w.js, err = jetstream.New(w.nc); err != nil {
		return err
	}
	var read jetstream.ObjectStore
	ctx, cancel := context.WithTimeout(ctx, time.Minute)
	defer cancel()
	err = await(ctx, func() error {
		if read, err = w.js.ObjectStore(ctx, readBucket); err != nil {
			return err
		}
		w.made, err = w.js.ObjectStore(ctx, madeBucket)
		return err
	})
	if err != nil {
		return fmt.Errorf("farm: the hub has no files: %w", err)
	}
	w.cache, err = newCache(filepath.Join(w.Dir, "files"), w.Space, read)
	return err
}

// machine tells of this worker.
func (w *worker) machine() Machine {
	m := Machine{Name: w.Name, Cores: max(1, w.Cores), Class: w.Class}
	w.mu.Lock()
	defer w.mu.Unlock()
	for key, rule := range w.doing {
		m.Doing = append(m.Doing, rule+" "+key[:12])
	}
	return m
}

// loop takes one order after the other.
func (w *worker) loop(ctx context.Context) {
	for ctx.Err() == nil {
		m, err := w.next(ctx)
		if err != nil {
			// Nobody renders with this class now, or the hub is not there.
			select {
			case <-ctx.Done():
			case <-time.After(time.Second):
			}
			continue
		}
		if m != nil {
			w.handle(ctx, m)
		}
	}
}

// next waits for an order for some seconds; nil when there was none.
func (w *worker) next(ctx context.Context) (jetstream.Msg, error) {
	c, err := w.js.Consumer(ctx, ordersStream, w.Class.ID())
	if err != nil {
		return nil, err
	}
	batch, err := c.Fetch(1, jetstream.FetchMaxWait(5*time.Second))
	if err != nil {
		return nil, err
	}
	select {
	case m := <-batch.Messages():
		return m, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// handle carries out one order and says what came of it. An order that this worker
// leaves because it was told to stop goes to another at once.
func (w *worker) handle(ctx context.Context, m jetstream.Msg) {
	o, err := order.Decode(m.Data())
	if err != nil {
		_ = m.TermWithReason("no order")
		return
	}
	w.note(o.Key, o.Rule)
	defer w.note(o.Key, "")
	began := time.Now()
	work, stop := context.WithCancel(ctx)
	defer stop()
	go keepLease(work, m)
	files, err := w.carryOut(work, o)
	switch {
	case ctx.Err() != nil:
		_ = m.Nak()
		_ = w.nc.FlushTimeout(time.Second)
		return
	case errors.Is(err, errDamaged), isDisk(err), errors.Is(err, nats.ErrTimeout):
		w.Tell(fmt.Sprintf("%s %s: %v; another machine gets it", o.Rule, o.Key[:12], err))
		_ = m.NakWithDelay(time.Second)
		return
	}
	r := order.Result{Key: o.Key, Worker: w.Name, Files: files, Seconds: time.Since(began).Seconds()}
	if err != nil {
		r.Failed, r.Files = err.Error(), nil
	}
	data, err := r.Encode()
	if err != nil {
		_ = m.TermWithReason("no result")
		return
	}
	if _, err := w.js.Publish(work, resultSubject(o.Key), data); err != nil {
		_ = m.Nak()
		return
	}
	_ = m.DoubleAck(work)
	if r.Failed != "" {
		w.Tell(fmt.Sprintf("%s %s failed: %s", o.Rule, o.Key[:12], r.Failed))
	} else {
		w.Tell(fmt.Sprintf("%s %s in %.1f s", o.Rule, o.Key[:12], r.Seconds))
	}
}

// keepLease says that an order is worked on, until ctx ends.
func keepLease(ctx context.Context, m jetstream.Msg) {
	tick := time.NewTicker(lease / beats)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			_ = m.InProgress()
		}
	}
}

// carryOut makes what an order asks for and sends it to the hub.
func (w *worker) carryOut(ctx context.Context, o order.Order) ([]order.File, error) {
	rule := w.Rules[o.Rule]
	if rule == nil || o.Class != w.Class.ID() {
		return nil, fmt.Errorf("this worker does not know the rule %q of class %.12s", o.Rule, o.Class)
	}
	scratch, err := os.MkdirTemp(w.Dir, "order-")
	if err != nil {
		return nil, err
	}
	defer os.RemoveAll(scratch)
	var in []string
	for _, f := range o.Inputs {
		path, free, err := w.cache.use(ctx, f)
		if err != nil {
			return nil, err
		}
		defer free()
		if f.Name != "" { // readers go by its ending
			named := filepath.Join(scratch, f.Name)
			if err := os.Link(path, named); err != nil {
				return nil, err
			}
			path = named
		}
		in = append(in, path)
	}
	dst := filepath.Join(scratch, "out"+o.Ext)
	if len(o.Outputs) > 0 {
		if err := os.Mkdir(dst, 0o700); err != nil {
			return nil, err
		}
	}
	if err := rule(ctx, o.Args, in, dst); err != nil {
		return nil, err
	}
	return w.sendMade(ctx, o, dst)
}

// sendMade sends the files of an output.
func (w *worker) sendMade(ctx context.Context, o order.Order, dst string) ([]order.File, error) {
	names := o.Outputs
	if len(names) == 0 {
		names = []string{""}
	}
	var files []order.File
	for _, n := range names {
		f, err := hashed(n, filepath.Join(dst, n))
		if err != nil {
			return nil, err
		}
		if f.Size == 0 {
			return nil, fmt.Errorf("the output %q is empty", n)
		}
		if err := send(ctx, w.made, f, filepath.Join(dst, n)); err != nil {
			return nil, err
		}
		files = append(files, f)
	}
	return files, nil
}

// note keeps what is being done, for [Machine.Doing].
func (w *worker) note(key, rule string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if rule == "" {
		delete(w.doing, key)
	} else {
		w.doing[key] = rule
	}
}
