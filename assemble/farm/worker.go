package farm

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
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
	Places
	// Tell is called when something happens that a person wants to read; nil for
	// nobody.
	Tell func(text string)
}

// worker carries out orders.
type worker struct {
	WorkerOptions
	nc    *nats.Conn // for words
	bytes *nats.Conn // for files, which would keep words waiting
	js    jetstream.JetStream
	cache *cache
	depot depot

	hands   *hands
	looking chan struct{} // holds one thing while a loop looks for an order
	round   round         // of who looks
	own     int           // how many of its first trays this worker has found something in
	given   chan struct{} // there is something new
	// reports are what was made and is on its way home. They end after the loops.
	reports sync.WaitGroup
	unsent  chan struct{}

	mu    sync.Mutex
	doing map[string]doing // by key
}

// doing is what a worker does with an order.
type doing struct {
	rule string
	stop context.CancelCauseFunc
}

// errRecalled is why work ends that nobody needs any more.
var errRecalled = errors.New("farm: nobody needs it any more")

// Work carries out orders of a hub until ctx ends, or the invitation is revoked. It
// waits while there are none, and while the hub is not there.
func Work(ctx context.Context, in Invitation, o WorkerOptions) error {
	if o.Tell == nil {
		o.Tell = func(string) {}
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	inbox := nats.CustomInboxPrefix(inboxPrefix + "." + o.Name)
	nc, err := in.dial(o.Name, inbox, nats.ClosedHandler(func(*nats.Conn) { stop(errRevoked) }))
	if err != nil {
		return err
	}
	defer nc.Close()
	bytes, err := in.dial(o.Name+"-files", inbox)
	if err != nil {
		return err
	}
	defer bytes.Close()
	w := &worker{WorkerOptions: o, nc: nc, bytes: bytes, doing: map[string]doing{}, hands: newHands(max(1, o.Cores)),
		looking: make(chan struct{}, 1), round: newRound(o.Name), given: make(chan struct{}, 1)}
	w.unsent = make(chan struct{}, w.hands.cores+1)
	defer os.RemoveAll(o.Dir)
	if err := w.open(ctx); err != nil {
		return err
	}
	deaf, err := w.listen()
	if err != nil {
		return err
	}
	defer deaf()
	// Announcing ends after the orders, so that its last word is the last.
	var said sync.WaitGroup
	here, leave := context.WithCancel(context.WithoutCancel(ctx))
	said.Go(func() { announce(here, nc, in.Guest, w.machine) })
	var work sync.WaitGroup
	for range w.hands.cores + ahead {
		work.Go(func() { w.loop(ctx) })
	}
	work.Wait()
	w.reports.Wait()
	leave()
	said.Wait()
	return context.Cause(ctx)
}

// listen hears what is new and what nobody needs any more, until the function that it
// returns is called.
func (w *worker) listen() (deaf func(), err error) {
	recalls, err1 := w.nc.Subscribe(recallSubject, func(m *nats.Msg) { w.recall(string(m.Data)) })
	news, err2 := w.nc.Subscribe(givenSubject(w.Class.ID()), func(*nats.Msg) {
		select {
		case w.given <- struct{}{}:
		default: // it will look anyway
		}
	})
	return func() { _, _ = recalls.Unsubscribe(), news.Unsubscribe() }, errors.Join(err1, err2)
}

// errRevoked is why a worker ends whom the hub lets in no more.
var errRevoked = errors.New("farm: the hub does not know this invitation any more")

// open finds what the worker needs at the hub.
func (w *worker) open(ctx context.Context) error {
	var err error
	if w.js, err = jetstream.New(w.nc); err != nil {
		return err
	}
	if w.depot, err = w.Places.depot(ctx, w.bytes, false); err != nil {
		return err
	}
	takes, err := newShared(w.Takes)
	if err != nil {
		return err
	}
	w.cache, err = newCache(filepath.Join(w.Dir, "files"), w.Space, w.depot, takes)
	return err
}

// machine returns what this worker says of itself when it is asked: its name, cores and class,
// and the tasks it is at, in a fixed order.
func (w *worker) machine() Machine {
	m := Machine{Name: w.Name, Cores: max(1, w.Cores), Class: w.Class, Takes: w.Takes != ""}
	w.mu.Lock()
	defer w.mu.Unlock()
	for key, d := range w.doing {
		m.Doing = append(m.Doing, d.rule+" "+key[:12])
	}
	slices.Sort(m.Doing)
	return m
}

// loop takes one order after the other.
func (w *worker) loop(ctx context.Context) {
	for {
		early, ok := w.hands.take(ctx)
		if !ok {
			return
		}
		if early { // a machine with nothing to do comes first
			select {
			case <-ctx.Done():
			case <-time.After(yielded):
			}
		}
		m, err := w.next(ctx)
		if m != nil {
			w.handle(ctx, m)
		}
		w.hands.put()
		if err != nil {
			// Nobody renders with this class now, or the hub is not there.
			select {
			case <-ctx.Done():
			case <-time.After(time.Second):
			}
		}
	}
}

// handle carries out one order, and has what came of it said while this goes on to the
// next. An order that this worker leaves because it was told to stop goes to another at
// once, and one that it has already in hand to another or back to it later.
func (w *worker) handle(ctx context.Context, m *taken) {
	o, err := order.Decode(m.Data)
	if err != nil {
		m.drop("no order")
		return
	}
	work, stop := context.WithCancelCause(ctx)
	if !w.begin(o, stop) {
		stop(nil)
		m.leave(lease)
		return
	}
	go keepLease(work, m)
	made, err := w.carryOut(work, o)
	select { // no more wait to be sent than are made at once
	case w.unsent <- struct{}{}:
	case <-work.Done():
		w.unsent <- struct{}{}
	}
	w.reports.Go(func() {
		defer func() { <-w.unsent }()
		defer w.end(o.Key)
		defer stop(nil)
		w.report(ctx, work, m, o, made, err)
	})
}

// report sends what an order has made, or says why it was not.
func (w *worker) report(ctx, work context.Context, m *taken, o order.Order, made output, err error) {
	defer made.remove()
	var files []order.File
	if err == nil {
		files, err = w.sendMade(work, o, made.path)
	}
	switch {
	// The home has it already, or wants it no more.
	case errors.Is(context.Cause(work), errRecalled):
		m.drop("recalled")
		return
	// This machine leaves: the order goes back at once, and not when its time has run out.
	case ctx.Err() != nil:
		m.leave(0)
		_ = w.nc.FlushTimeout(time.Second)
		return
	case errors.Is(err, errDamaged), errors.Is(err, errMissing), isDisk(err), errors.Is(err, nats.ErrTimeout):
		w.Tell(fmt.Sprintf("%s %s: %v; another machine gets it", o.Rule, o.Key[:12], err))
		m.leave(time.Second)
		return
	}
	r := order.Result{Key: o.Key, Worker: w.Name, Files: files, Seconds: made.seconds}
	if err != nil {
		r.Failed, r.Files = err.Error(), nil
	}
	data, err := r.Encode()
	if err != nil {
		m.drop("no result")
		return
	}
	err = persist(work, func() error {
		_, err := w.js.Publish(work, resultSubject(o.Key), data)
		return err
	})
	if err != nil {
		m.leave(0)
		return
	}
	// With a receipt for the receipt: were it lost, the order would be made again elsewhere.
	m.done(work)
	if r.Failed != "" {
		w.Tell(fmt.Sprintf("%s %s failed: %s", o.Rule, o.Key[:12], r.Failed))
	} else {
		w.Tell(fmt.Sprintf("%s %s in %.1f s", o.Rule, o.Key[:12], r.Seconds))
	}
}

// begin notes that an order is worked on, and reports whether it was not already.
func (w *worker) begin(o order.Order, stop context.CancelCauseFunc) bool {
	w.mu.Lock()
	defer w.mu.Unlock()
	if _, busy := w.doing[o.Key]; busy {
		return false
	}
	w.doing[o.Key] = doing{o.Rule, stop}
	return true
}

// end notes that nothing is done any more for an order.
func (w *worker) end(key string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	delete(w.doing, key)
}

// recall ends the work on an order.
func (w *worker) recall(key string) {
	w.mu.Lock()
	d, busy := w.doing[key]
	w.mu.Unlock()
	if busy {
		d.stop(errRecalled)
	}
}

// keepLease says that an order is worked on, until ctx ends.
func keepLease(ctx context.Context, m *taken) {
	tick := time.NewTicker(lease / beats)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-tick.C:
			m.goOn()
		}
	}
}

// output is what an order has made.
type output struct {
	path    string  // of the file, or of the folder
	scratch string  // folder with all that was written for it
	seconds float64 // making took
}

// remove deletes it and all that was written for it.
func (o output) remove() {
	if o.scratch != "" {
		os.RemoveAll(o.scratch)
	}
}

// carryOut makes what an order asks for, in a folder that whoever calls it removes.
func (w *worker) carryOut(ctx context.Context, o order.Order) (made output, err error) {
	rule := w.Rules[o.Rule]
	if rule == nil || o.Class != w.Class.ID() {
		return made, fmt.Errorf("this worker does not know the rule %q of class %.12s", o.Rule, o.Class)
	}
	if made.scratch, err = os.MkdirTemp(w.Dir, "order-"); err != nil {
		return made, err
	}
	in, free, err := w.gather(ctx, o, made.scratch)
	defer free()
	if err != nil {
		return made, err
	}
	made.path = filepath.Join(made.scratch, "out"+o.Ext)
	if len(o.Outputs) > 0 {
		if err := os.Mkdir(made.path, 0o700); err != nil {
			return made, err
		}
	}
	if !w.hands.begin(ctx) {
		return made, ctx.Err()
	}
	began := time.Now()
	err = rule(ctx, o.Args, in, made.path)
	w.hands.end()
	made.seconds = time.Since(began).Seconds()
	return made, err
}

// gather returns the paths of what an order reads, and a function that gives them back.
func (w *worker) gather(ctx context.Context, o order.Order, scratch string) (in []string, free func(), err error) {
	var held []func()
	free = func() {
		for _, f := range held {
			f()
		}
	}
	for _, f := range o.Inputs {
		path, release, err := w.cache.use(ctx, f)
		if err != nil {
			return nil, free, err
		}
		held = append(held, release)
		if f.Name != "" { // readers go by its ending
			named := filepath.Join(scratch, f.Name)
			if err := os.Link(path, named); err != nil {
				return nil, free, err
			}
			path = named
		}
		in = append(in, path)
	}
	return in, free, nil
}
