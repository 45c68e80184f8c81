package farm

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"ripieno/assemble/order"
)

// line is a network between a worker and the hub that can be cut: what is sent meanwhile
// waits, as it does when a cable is pulled, and arrives late.
type line struct {
	net.Listener
	mu   sync.Mutex
	open *sync.Cond
	cut  bool
}

// lineTo opens a line to the address of an invitation, and returns the invitation by it.
func lineTo(t *testing.T, in Invitation) (*line, Invitation) {
	t.Helper()
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	n := &line{Listener: l}
	n.open = sync.NewCond(&n.mu)
	to := in.Address
	go func() {
		for {
			near, err := l.Accept()
			if err != nil {
				return
			}
			far, err := net.Dial("tcp", to)
			if err != nil {
				near.Close()
				continue
			}
			go n.carry(far, near)
			go n.carry(near, far)
		}
	}()
	t.Cleanup(func() { n.set(false); l.Close() })
	in.Address = l.Addr().String()
	return n, in
}

// carry passes on what comes, while the line is not cut.
func (n *line) carry(to, from net.Conn) {
	defer to.Close()
	b := make([]byte, 16<<10)
	for {
		k, err := from.Read(b)
		n.mu.Lock()
		for n.cut {
			n.open.Wait()
		}
		n.mu.Unlock()
		if k > 0 {
			if _, err := to.Write(b[:k]); err != nil {
				return
			}
		}
		if err != nil {
			return
		}
	}
}

// set cuts the line, or mends it.
func (n *line) set(cut bool) {
	n.mu.Lock()
	n.cut = cut
	n.mu.Unlock()
	n.open.Broadcast()
}

// TestALateReturnChangesNothing cuts a worker off that works on an order. Another one
// makes it meanwhile. What the first then says, which is something else, comes to
// nothing, and so does its last word on an order that was given out anew.
func TestALateReturnChangesNothing(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	cable, far := lineTo(t, hub.Workers)
	began, go2, late := make(chan struct{}), make(chan struct{}), make(chan string, 8)
	var calls atomic.Int32
	o := workers(func(ctx context.Context, args []byte, in []string, dst string) error {
		if calls.Add(1) > 1 {
			return double(ctx, args, in, dst)
		}
		close(began)
		select {
		case <-go2:
		case <-ctx.Done():
			return ctx.Err()
		}
		return os.WriteFile(dst, []byte("too late"), 0o600)
	})
	o.Name, o.Tell = "far", func(text string) { late <- text }
	workHere(t, far, o)
	home := joinHere(t, hub.Home, 1)
	type end struct {
		text string
		err  error
	}
	made := make(chan end, 1)
	go func() {
		text, err := makeHere(t, home, 1)
		made <- end{text, err}
	}()
	<-began
	cable.set(true)
	near := workers(double)
	near.Name = "near"
	workHere(t, hub.Workers, near)
	if e := <-made; e.err != nil || e.text != "once once " {
		t.Fatalf("%q, %v", e.text, e.err)
	}
	close(go2)
	cable.set(false)
	// The far worker is told that nobody needs it, or comes late; either way the same
	// order has its right output when it is asked for again.
	select {
	case text := <-late:
		t.Log("the late worker says:", text)
	case <-time.After(2 * lease):
	}
	if text, err := makeHere(t, home, 1); err != nil || text != "once once " {
		t.Errorf("asked again: %q, %v", text, err)
	}
}

// looker is as much of a worker as takes orders.
func looker(nc *nats.Conn, name string) *worker {
	return &worker{WorkerOptions: WorkerOptions{Class: class}, nc: nc, looking: make(chan struct{}, 1),
		round: newRound(name)}
}

// liar takes orders with a worker's key and answers them as a test says.
func liar(t *testing.T, hub *Hub, answer func(js jetstream.JetStream, m *taken, o order.Order)) {
	t.Helper()
	nc, err := hub.Workers.dial("liar", nats.CustomInboxPrefix(inboxPrefix+".liar"))
	if err != nil {
		t.Fatal(err)
	}
	js, err := jetstream.New(nc)
	if err != nil {
		t.Fatal(err)
	}
	w := looker(nc, "liar")
	ctx, stop := context.WithCancel(t.Context())
	var busy sync.WaitGroup
	t.Cleanup(func() { stop(); busy.Wait(); nc.Close() })
	busy.Go(func() { announce(ctx, nc, "", func() Machine { return Machine{Name: "liar", Cores: 1, Class: class} }) })
	busy.Go(func() {
		for ctx.Err() == nil {
			m, err := w.next(ctx)
			if err != nil {
				select {
				case <-ctx.Done():
				case <-time.After(20 * time.Millisecond):
				}
				continue
			}
			if o, err := order.Decode(m.Data); err == nil {
				answer(js, m, o)
			}
		}
	})
}

// TestLiesDoNotComeHome: a machine with a worker's key answers orders with what it was
// not asked for. Nothing of it is taken.
func TestLiesDoNotComeHome(t *testing.T) {
	t.Parallel()
	good := order.File{Hash: hashText([]byte("once once ")), Size: 10}
	lies := []struct {
		name string
		body string // what is sent under the hash of good; "" for nothing
		lie  func(r *order.Result)
	}{
		{"other bytes", "once evil ", nil},
		{"fewer bytes", "once", nil},
		{"more bytes", "once once and more", nil},
		{"nothing sent", "", nil},
		{"another name", "once once ", func(r *order.Result) { r.Files[0].Name = "x" }},
		{"two files", "once once ", func(r *order.Result) { r.Files = append(r.Files, good) }},
		{"no file", "once once ", func(r *order.Result) { r.Files[0].Size = 0 }},
		{"a way out", "once once ", func(r *order.Result) { r.Files[0].Name = "../../x" }},
	}
	hub := serveHere(t, t.TempDir())
	var k atomic.Int32
	files := filesAt(t, hub.Workers, "liar-files")
	liar(t, hub, func(js jetstream.JetStream, m *taken, o order.Order) {
		l := lies[k.Load()]
		var err error
		if l.body != "" {
			plant(t, files, madeShelf, good.Hash, l.body)
		}
		r := order.Result{Key: o.Key, Worker: "liar", Files: []order.File{good}}
		if l.lie != nil {
			l.lie(&r)
		}
		// Not by Encode, which would refuse some of them.
		text := fmt.Sprintf(`{"key":%q,"worker":"liar","files":[`, r.Key)
		for i, f := range r.Files {
			text += strings.Repeat(",", min(i, 1)) + fmt.Sprintf(`{"name":%q,"hash":%q,"size":%d}`, f.Name, f.Hash, f.Size)
		}
		if err == nil {
			_, err = js.Publish(t.Context(), resultSubject(o.Key), []byte(text+`],"seconds":1}`))
		}
		if err == nil {
			m.done(t.Context())
		}
		if err != nil {
			t.Errorf("%s: %v", l.name, err)
		}
	})
	home := joinHere(t, hub.Home, 1)
	for i, l := range lies {
		k.Store(int32(i))
		o, path := write(t, i, "once ")
		dst := filepath.Join(t.TempDir(), "out.txt")
		if err := home.Make(t.Context(), o, []string{path}, dst); err == nil {
			t.Errorf("%s was taken", l.name)
		} else {
			t.Logf("%s: %v", l.name, err)
		}
		if _, err := os.Stat(dst); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%s left a file", l.name)
		}
		_ = home.depot.drop(t.Context(), madeShelf, good.Hash)
	}
}

// TestWhatNobodyFinishesComesHome: three workers that take an order and are never heard
// of again, and files that arrive damaged at every worker, end with the order at home
// and not in the queue.
func TestWhatNobodyFinishesComesHome(t *testing.T) {
	t.Parallel()
	t.Run("lost", func(t *testing.T) {
		t.Parallel()
		hub := serveHere(t, t.TempDir())
		var times atomic.Int32
		liar(t, hub, func(jetstream.JetStream, *taken, order.Order) { times.Add(1) })
		home := joinHere(t, hub.Home, 1)
		if _, err := makeHere(t, home, 1); !errors.Is(err, errGivenUp) {
			t.Errorf("%v", err)
		}
		if times.Load() != tries {
			t.Errorf("%d workers took it", times.Load())
		}
	})
	t.Run("damaged", func(t *testing.T) {
		t.Parallel()
		hub := serveHere(t, t.TempDir())
		var told, called atomic.Int32
		o := workers(func(ctx context.Context, args []byte, in []string, dst string) error {
			called.Add(1)
			return double(ctx, args, in, dst)
		})
		o.Tell = func(string) { told.Add(1) }
		workHere(t, hub.Workers, o)
		home := joinHere(t, hub.Home, 1)
		plant(t, home.depot, readShelf, hashText([]byte("once ")), "evil ")
		if _, err := makeHere(t, home, 1); !errors.Is(err, errGivenUp) {
			t.Errorf("%v", err)
		}
		if told.Load() != tries || called.Load() != 0 {
			t.Errorf("told %d times, made %d times", told.Load(), called.Load())
		}
	})
}

// TestASlowOrderGetsASecondWorker: when one is out for long and others have nothing to
// do, another gets it as well. The first result counts, and who is slower is told that
// nobody needs it.
func TestASlowOrderGetsASecondWorker(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	var stuck atomic.Bool
	recalled, hangs := make(chan error, 1), make(chan struct{})
	o := workers(func(ctx context.Context, args []byte, in []string, dst string) error {
		if !stuck.Load() {
			return double(ctx, args, in, dst)
		}
		close(hangs)
		<-ctx.Done()
		recalled <- context.Cause(ctx)
		return ctx.Err()
	})
	o.Name = "slow"
	workHere(t, hub.Workers, o)
	home := joinHere(t, hub.Home, 1)
	if _, err := makeHere(t, home, 1); err != nil { // so that it is known how long such orders take
		t.Fatal(err)
	}
	stuck.Store(true)
	made := make(chan string, 1)
	go func() {
		text, err := makeHere(t, home, 2)
		if err != nil {
			t.Error(err)
		}
		made <- text
	}()
	<-hangs
	o = workers(double)
	o.Name = "quick"
	workHere(t, hub.Workers, o)
	if text := <-made; text != "once once " {
		t.Errorf("%q", text)
	}
	if err := <-recalled; !errors.Is(err, errRecalled) {
		t.Errorf("the slow one ends with %v", err)
	}
}

// TestFilesLeaveTheHub: no more lie there than fit, and none when the home has gone.
func TestFilesLeaveTheHub(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	workHere(t, hub.Workers, workers(double))
	home := joinHere(t, hub.Home, 1)
	home.sent.space = map[shelf]int64{readShelf: 12, madeShelf: 24} // two of the files
	var files []order.File
	for id := range 4 {
		o, path := write(t, id, fmt.Sprint("take", id))
		files = append(files, o.Inputs...)
		if err := home.Make(t.Context(), o, []string{path}, filepath.Join(t.TempDir(), "x")); err != nil {
			t.Fatal(err)
		}
	}
	watch := joinHere(t, hub.Home, 1)
	there := func() (list []int) {
		for id, f := range files {
			if watch.depot.has(t.Context(), readShelf, f) {
				list = append(list, id)
			}
		}
		return list
	}
	if got := fmt.Sprint(there()); got != "[2 3]" {
		t.Errorf("at the hub lie %s", got)
	}
	home.Close()
	if got := fmt.Sprint(there()); got != "[]" {
		t.Errorf("when the home has gone there lie %s", got)
	}
}
