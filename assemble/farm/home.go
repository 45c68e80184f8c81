package farm

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"path/filepath"
	"sync"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"golang.org/x/sync/singleflight"

	"ripieno/assemble/order"
)

// hashText returns the SHA-256 of data in hexadecimal, as files are called in the hub.
func hashText(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

// Home is the machine with the production, connected to a hub.
type Home struct {
	class string
	nc    *nats.Conn // for words
	bytes *nats.Conn // for files, which would keep words waiting
	js    jetstream.JetStream
	// queue and list are where orders and results lie. They are names: a hub that was
	// emptied has others behind them.
	queue, list jetstream.Stream
	depot       depot
	crew        crew

	takes   *shared // nil when no folder of takes is seen by all
	sending singleflight.Group
	sent    *sent
	sorting sorting
	blind   atomic.Bool     // takes are sent after all: they were not found in the folder
	life    context.Context // of the home, for what it tidies up at its end

	mu      sync.Mutex
	waiting map[string]*given // by key
	over    map[string]bool   // keys of orders that were waited for and are not any more
	paces   map[string]pace   // by rule
	resting time.Time         // until when nothing is given
	settled uint64            // how often the connection had been lost when the hub was looked at

	settling sync.Mutex // one looks at a hub that came back, and the others wait for that
}

// Join connects to a hub as the home of a production. Orders go to machines of the
// class only.
func Join(ctx context.Context, in Invitation, class Class, at Places) (*Home, error) {
	nc, err := in.dial("home")
	if err != nil {
		return nil, err
	}
	h := &Home{class: class.ID(), nc: nc, life: context.WithoutCancel(ctx),
		waiting: map[string]*given{}, over: map[string]bool{}, paces: map[string]pace{},
		sorting: sorting{files: map[string]int{}}}
	if err = h.open(ctx, in, at); err != nil {
		h.Close()
		return nil, err
	}
	return h, nil
}

// open prepares what Join connected to.
func (h *Home) open(ctx context.Context, in Invitation, at Places) (err error) {
	if h.js, err = jetstream.New(h.nc); err != nil {
		return err
	}
	if err = h.crew.watch(h.nc); err != nil {
		return err
	}
	// A cluster that has no leader yet leaves some questions without any answer.
	err = patiently(ctx, 5*answerTime, func() error {
		ctx, stop := context.WithTimeout(ctx, answerTime)
		defer stop()
		if err := h.restore(ctx); err != nil {
			return err
		}
		if h.queue, err = h.js.Stream(ctx, ordersStream); err != nil {
			return err
		}
		h.list, err = h.js.Stream(ctx, resultsStream)
		return err
	})
	if err != nil {
		return err
	}
	if h.bytes, err = in.dial("home-files"); err != nil {
		return err
	}
	if h.depot, err = at.depot(ctx, h.bytes, true); err != nil {
		return err
	}
	if h.takes, err = newShared(at.Takes); err != nil {
		return err
	}
	h.sent = newSent(ctx, h.depot)
	if err = h.heedGivenUp(); err != nil {
		return err
	}
	return h.listen()
}

// restore makes what the hub lacks: one that was emptied has nothing of it.
func (h *Home) restore(ctx context.Context) error {
	s, err := h.js.Stream(ctx, ordersStream)
	if isGone(err) || err == nil && !isOurs(s) {
		space, err := accountSpace(ctx, h.js)
		if err != nil {
			return err
		}
		if err := layOut(ctx, h.js, space); err != nil {
			return err
		}
	}
	if errors.Is(err, jetstream.ErrJetStreamNotEnabled) || errors.Is(err, jetstream.ErrJetStreamNotEnabledForAccount) {
		return errors.New("farm: this server keeps nothing: JetStream is off, or off for the account of ripieno")
	}
	return invite(ctx, h.js, h.class)
}

// settle restores what a hub lacks that came back: it may have been emptied.
func (h *Home) settle(ctx context.Context) error {
	h.settling.Lock()
	defer h.settling.Unlock()
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
	h.sent.doubt()
	h.mu.Lock()
	h.settled = lost
	h.mu.Unlock()
	return nil
}

// listen gives results to those who wait for them. Results of other runs are left.
func (h *Home) listen() error {
	_, err := h.nc.Subscribe(resultSubject("*"), func(m *nats.Msg) {
		r, err := order.DecodeResult(m.Data)
		if err != nil {
			return
		}
		h.mu.Lock()
		g := h.waiting[r.Key]
		if g != nil && r.Failed == "" {
			p := h.paces[g.order.Rule]
			h.paces[g.order.Rule] = pace{p.orders + 1, p.seconds + r.Seconds}
		}
		late := g == nil && h.over[r.Key]
		h.mu.Unlock()
		if late { // a worker that lost its line says again what it is not sure to have said
			go h.forget(r.Key)
		}
		if g == nil {
			return
		}
		select {
		case g.result <- r:
		default: // one result is as good as another
		}
	})
	if err != nil {
		return err
	}
	return h.nc.Flush()
}

// Close takes back what was sent and ends the connection. Orders that nobody took are
// withdrawn by those who wait for them.
func (h *Home) Close() {
	if h.sent != nil {
		h.sent.clear(h.life)
	}
	if h.bytes != nil {
		h.bytes.Close()
	}
	h.nc.Close()
}

// Machines returns who works for the hub, of whatever class.
func (h *Home) Machines() []Machine { return h.crew.present() }

// Cores returns how many cores of this class are present.
func (h *Home) Cores() int {
	n, _ := h.crew.room(h.class)
	return n
}

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
	if !h.nc.IsConnected() {
		return errNoHub
	}
	if h.Cores() == 0 {
		return errNobody
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	g := &given{order: o, tray: h.sorting.trayOf(o), data: data, paths: paths, result: make(chan order.Result, 1),
		lost: make(chan error, 1), places: map[uint64]bool{}}
	h.mu.Lock()
	if h.waiting[o.Key] != nil {
		h.mu.Unlock()
		return fmt.Errorf("farm: %s is given out already", o.Key[:12])
	}
	h.waiting[o.Key] = g
	h.mu.Unlock()
	defer func() {
		h.mu.Lock()
		delete(h.waiting, o.Key)
		h.over[o.Key] = true
		h.mu.Unlock()
	}()
	if err := h.sent.use(ctx, o.Inputs); err != nil {
		return err
	}
	defer h.sent.free(o.Inputs)
	g.since = time.Now()
	defer h.withdraw(ctx, g)
	if err := h.give(ctx, g); err != nil {
		h.rest()
		return err
	}
	r, err := h.wait(ctx, g)
	if err != nil {
		if errors.Is(err, errGivenUp) && g.unsent.Load() {
			h.blind.Store(true) // somebody does not see what everybody should
		}
		return err
	}
	return h.take(ctx, o, r, tmp)
}

// rest gives nothing to a hub that takes nothing for a lease: its disk may be full.
func (h *Home) rest() {
	h.mu.Lock()
	h.resting = time.Now().Add(lease)
	h.mu.Unlock()
}

// rests reports whether nothing is given to the hub now.
func (h *Home) rests() bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	return time.Now().Before(h.resting)
}

// give sends what an order reads and then the order. A hub that is away may come back within
// a lease; that is waited for.
func (h *Home) give(ctx context.Context, g *given) error {
	return patiently(ctx, lease, func() error { return h.giveOnce(ctx, g) })
}

// patiently tries again for a time what fails because the hub does not answer or is not up yet,
// or because one server of a cluster has not heard yet what another has made.
func patiently(ctx context.Context, limit time.Duration, try func() error) (err error) {
	patient, stop := context.WithTimeout(ctx, limit)
	defer stop()
	_ = await(patient, func() error {
		if err = try(); isAway(err) || errors.Is(err, jetstream.ErrStreamNotFound) {
			return err
		}
		return nil
	})
	return err
}

// giveOnce gives an order as long as the hub is there.
func (h *Home) giveOnce(ctx context.Context, g *given) error {
	if err := h.settle(ctx); err != nil {
		return err
	}
	// A result that somebody said long ago answers nothing that is asked now.
	purge(ctx, h.list, resultSubject(g.order.Key))
	return h.giveAgain(ctx, g)
}

// giveAgain sends what the hub lacks of an order, and the order.
func (h *Home) giveAgain(ctx context.Context, g *given) error {
	for i, f := range g.order.Inputs {
		if h.sent.isThere(f.Hash) || h.isSeen(g, g.paths[i]) {
			continue
		}
		_, err, _ := h.sending.Do(f.Hash, func() (any, error) { return nil, h.send(ctx, f, g.paths[i]) })
		if err != nil {
			return err
		}
	}
	return h.publish(ctx, g, false)
}

// isSeen reports whether all who may get an order see one of its files where it lies.
func (h *Home) isSeen(g *given, path string) bool {
	if h.blind.Load() || !h.takes.holds(path) || !h.crew.seeTakes(h.class) {
		return false
	}
	g.unsent.Store(true)
	return true
}

// send sends one file, unless it is at the hub.
func (h *Home) send(ctx context.Context, f order.File, path string) error {
	if !h.depot.has(ctx, readShelf, f) {
		if err := h.depot.put(ctx, readShelf, f, path); err != nil {
			return err
		}
	}
	h.sent.arrived(f.Hash)
	return nil
}

// take fetches what a worker made.
func (h *Home) take(ctx context.Context, o order.Order, r order.Result, tmp string) error {
	if r.Failed != "" {
		return fmt.Errorf("farm: %s could not make it: %s", r.Worker, r.Failed)
	}
	if err := r.Answers(o); err != nil {
		return err
	}
	for _, f := range r.Files {
		path := tmp
		if f.Name != "" {
			path = filepath.Join(tmp, f.Name)
		}
		if err := h.depot.get(ctx, madeShelf, f, path); err != nil {
			if errors.Is(err, errDamaged) { // else it would stay in the way of the right one
				_ = h.depot.drop(ctx, madeShelf, f.Hash)
			}
			return err
		}
	}
	h.sent.came(ctx, r.Files)
	return nil
}

// withdraw takes an order back that nobody needs any more, and stops who still works
// on it.
func (h *Home) withdraw(ctx context.Context, g *given) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), time.Second)
	defer cancel()
	purge(ctx, h.queue, g.subject(false))
	if g.copied {
		purge(ctx, h.queue, g.subject(true))
	}
	purge(ctx, h.list, resultSubject(g.order.Key))
	_ = h.nc.Publish(recallSubject, []byte(g.order.Key))
}

// forget removes what was said of an order that nobody needs any more.
func (h *Home) forget(key string) {
	ctx, cancel := context.WithTimeout(h.life, time.Second)
	defer cancel()
	purge(ctx, h.list, resultSubject(key))
}

// purge removes what a stream has under a subject. What stays does no harm.
func purge(ctx context.Context, from jetstream.Stream, subject string) {
	_ = from.Purge(ctx, jetstream.WithPurgeSubject(subject))
}
