package farm

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"ripieno/assemble/order"
)

// makeHere gives one order to the machines at a hub and returns what came of it.
func makeHere(t *testing.T, home *Home, n int) (string, error) {
	t.Helper()
	o, path := write(t, n, "once ")
	dst := filepath.Join(t.TempDir(), "out.txt")
	err := home.Make(t.Context(), o, []string{path}, dst)
	if err != nil {
		if _, e := os.Stat(dst); !errors.Is(e, os.ErrNotExist) {
			t.Errorf("an order that failed left a file (%v)", e)
		}
		return "", err
	}
	data, err := os.ReadFile(dst)
	return string(data), err
}

func workers(rule Rule) WorkerOptions {
	return WorkerOptions{Name: "w", Cores: 1, Class: class, Rules: map[string]Rule{"double": rule}}
}

// TestAFailingRuleIsToldHome: the reason comes home, and nothing is left of the order.
func TestAFailingRuleIsToldHome(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	workHere(t, hub.Workers, workers(func(context.Context, []byte, []string, string) error {
		return errors.New("the disk is made of cheese")
	}))
	home := joinHere(t, hub.Home, 1)
	if _, err := makeHere(t, home, 1); err == nil || !strings.Contains(err.Error(), "cheese") {
		t.Errorf("%v", err)
	}
	o, path := write(t, 2, "x")
	o.Rule = "shell"
	err := home.Make(t.Context(), o, []string{path}, filepath.Join(t.TempDir(), "out.txt"))
	if err == nil || !strings.Contains(err.Error(), "does not know the rule") {
		t.Errorf("an unknown rule: %v", err)
	}
	s, err := home.js.Stream(t.Context(), ordersStream)
	if err != nil || s.CachedInfo().State.Msgs != 0 {
		t.Errorf("orders are left: %+v, %v", s.CachedInfo().State, err)
	}
}

// TestAnEmptyOrMissingOutputIsAFailure: what a rule did not write does not come home.
func TestAnEmptyOrMissingOutputIsAFailure(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	var n atomic.Int32
	workHere(t, hub.Workers, workers(func(_ context.Context, _ []byte, _ []string, dst string) error {
		if n.Add(1) == 1 {
			return nil
		}
		return os.WriteFile(dst, nil, 0o600)
	}))
	home := joinHere(t, hub.Home, 1)
	for k := range 2 {
		if _, err := makeHere(t, home, k); err == nil {
			t.Errorf("output %d came home", k)
		}
	}
}

// TestAMachineOfAnotherClassGetsNothing: it is told why, and the home is told too.
func TestAMachineOfAnotherClassGetsNothing(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	o := workers(double)
	o.Class.Trial = "y"
	workHere(t, hub.Workers, o)
	home := joinHere(t, hub.Home, 0)
	for range 100 {
		if len(home.Machines()) > 0 {
			break
		}
		<-time.After(50 * time.Millisecond)
	}
	if m := home.Machines(); len(m) != 1 || !strings.Contains(m[0].Class.Differs(class), "trial film") {
		t.Fatalf("%+v", m)
	}
	if _, err := makeHere(t, home, 1); !errors.Is(err, errNobody) {
		t.Errorf("%v", err)
	}
}

// TestADeadWorkersOrderGoesToAnother: a worker that says nothing for a lease loses its
// order; one that works for longer than many leases keeps it while it says so.
func TestADeadWorkersOrderGoesToAnother(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	taken, began := make(chan struct{}), time.Now()
	// The dead one takes an order from the queue and is never heard of again.
	nc, err := hub.Workers.dial("dead", nats.CustomInboxPrefix(inboxPrefix+".dead"))
	if err != nil {
		t.Fatal(err)
	}
	defer nc.Close()
	said := Machine{Name: "dead", Cores: 1, Class: class}
	stop, cancel := context.WithCancel(t.Context())
	defer cancel()
	go announce(stop, nc, "", func() Machine { return said })
	home := joinHere(t, hub.Home, 1)
	go func() {
		defer close(taken)
		if _, err := looker(nc, "dead").next(t.Context()); err != nil {
			t.Error(err)
		}
	}()
	var calls atomic.Int32
	ready := make(chan struct{})
	go func() {
		<-taken
		defer close(ready)
		workHere(t, hub.Workers, workers(func(ctx context.Context, args []byte, in []string, dst string) error {
			calls.Add(1)
			select { // longer than a lease
			case <-time.After(lease + lease/2):
			case <-ctx.Done():
			}
			return double(ctx, args, in, dst)
		}))
	}()
	text, err := makeHere(t, home, 1)
	<-ready
	if err != nil || text != "once once " {
		t.Errorf("%q, %v", text, err)
	}
	if calls.Load() != 1 {
		t.Errorf("the order was carried out %d times", calls.Load())
	}
	if d := time.Since(began); d < lease {
		t.Errorf("the order of a worker that might have lived was given away after %v", d)
	}
}

// TestAnEmptiedHubIsFilledAgain: a hub that comes back with an empty folder costs
// sending again and nothing else.
func TestAnEmptiedHubIsFilledAgain(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	hub := serveHere(t, dir)
	workHere(t, hub.Workers, workers(double))
	home := joinHere(t, hub.Home, 1)
	if text, err := makeHere(t, home, 1); err != nil || text != "once once " {
		t.Fatalf("%q, %v", text, err)
	}
	at := hub.Home.Address
	hub.Close()
	if _, err := makeHere(t, home, 2); err == nil {
		t.Error("an order was carried out without a hub")
	}
	if err := os.RemoveAll(filepath.Join(dir, "jetstream")); err != nil {
		t.Fatal(err)
	}
	again, err := Serve(t.Context(), HubOptions{Dir: dir, Listen: at, Space: 200e6})
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	ctx, cancel := context.WithTimeout(t.Context(), time.Minute)
	defer cancel()
	var text string
	err = await(ctx, func() (err error) {
		text, err = makeHere(t, home, 1)
		return err
	})
	if err != nil || text != "once once " {
		t.Errorf("%q, %v", text, err)
	}
}

// TestWhatIsDamagedOnTheWayIsNotTaken puts other bytes under the hash of a file, on
// the way there and on the way home.
func TestWhatIsDamagedOnTheWayIsNotTaken(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	home := joinHere(t, hub.Home, 0)
	good := order.File{Hash: hashText([]byte("good")), Size: 4}
	for _, bytes := range []string{"evil", "goo", "good and more"} {
		plant(t, home.depot, madeShelf, good.Hash, bytes)
		path := filepath.Join(t.TempDir(), "x")
		if err := home.depot.get(t.Context(), madeShelf, good, path); !errors.Is(err, errDamaged) {
			t.Errorf("%q: %v", bytes, err)
		}
		if _, err := os.Stat(path); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("%q left a file", bytes)
		}
		if err := home.depot.drop(t.Context(), madeShelf, good.Hash); err != nil {
			t.Error(err)
		}
	}
	o := order.Order{Key: good.Hash, Ext: ".txt"}
	for name, r := range map[string]order.Result{
		"another key": {Key: hashText(nil), Worker: "w", Files: []order.File{good}},
		"no file":     {Key: good.Hash, Worker: "w"},
		"not there":   {Key: good.Hash, Worker: "w", Files: []order.File{{Hash: hashText([]byte("never sent")), Size: 3}}},
	} {
		if err := home.take(t.Context(), o, r, filepath.Join(t.TempDir(), "x")); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
}

// TestOneOfManyIsRevoked: each invitation in a name has a key of its own. The one whose
// is revoked is cut off and told, in mid-order too, which another makes; the others go
// on, also after the hub was started again.
func TestOneOfManyIsRevoked(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	hub := serveHere(t, dir)
	anna, err := Invite(t.Context(), hub.Home, "anna")
	if err != nil {
		t.Fatal(err)
	}
	ben, err := Invite(t.Context(), hub.Home, "ben")
	if err != nil {
		t.Fatal(err)
	}
	if again, err := Invite(t.Context(), hub.Home, "anna"); err != nil || again != anna || again.Seed == ben.Seed {
		t.Errorf("%+v, %v", again, err)
	}
	began, ended := make(chan struct{}), make(chan error, 1)
	o := workers(func(ctx context.Context, _ []byte, _ []string, _ string) error {
		close(began)
		<-ctx.Done()
		return ctx.Err()
	})
	o.Name, o.Dir, o.Space = "laptop", filepath.Join(t.TempDir(), "work"), 1e6
	go func() { ended <- Work(t.Context(), anna, o) }()
	home := joinHere(t, hub.Home, 1)
	if m := home.Machines(); len(m) != 1 || m[0].Guest != "anna" {
		t.Errorf("%+v", m)
	}
	made := make(chan error, 1)
	go func() {
		_, err := makeHere(t, home, 1)
		made <- err
	}()
	<-began
	o = workers(double)
	o.Name = "box"
	workHere(t, ben, o)
	if err := Revoke(t.Context(), hub.Home, "anna"); err != nil {
		t.Fatal(err)
	}
	if err := <-ended; !errors.Is(err, errRevoked) {
		t.Errorf("who is revoked ends with %v", err)
	}
	if err := <-made; err != nil {
		t.Errorf("what it had begun: %v", err)
	}
	for _, name := range []string{"anna", "nobody", ""} {
		if err := Revoke(t.Context(), hub.Home, name); err == nil {
			t.Errorf("%q is revoked again", name)
		}
	}
	for _, name := range []string{"", "all", "a.b", "A", "a b", strings.Repeat("x", 41)} {
		if _, err := Invite(t.Context(), hub.Home, name); err == nil {
			t.Errorf("%q is a name", name)
		}
	}
	hub.Close()
	again, err := Serve(t.Context(), HubOptions{Dir: dir, Listen: hub.Home.Address, Space: 200e6})
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	if nc, err := anna.dial("anna"); err == nil {
		nc.Close()
		t.Error("who was revoked is let in by the hub when it is started again")
	}
	if nc, err := ben.dial("ben"); err != nil {
		t.Errorf("the others: %v", err)
	} else {
		nc.Close()
	}
}

// TestStrangersAreRefused: a key that the hub does not know, one made void, another
// certificate, no TLS.
func TestStrangersAreRefused(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	hub := serveHere(t, dir)
	other := serveHere(t, t.TempDir())
	for name, in := range map[string]Invitation{
		"another hub's key":         {Address: hub.Home.Address, Print: hub.Home.Print, Seed: other.Home.Seed},
		"another hub's certificate": {Address: hub.Home.Address, Print: other.Home.Print, Seed: hub.Home.Seed},
	} {
		if nc, err := in.dial("stranger"); err == nil {
			nc.Close()
			t.Errorf("%s is let in", name)
		} else if strings.Contains(err.Error(), in.Seed) {
			t.Errorf("%s: the error tells the key: %v", name, err)
		}
	}
	if nc, err := nats.Connect("nats://" + hub.Home.Address); err == nil {
		nc.Close()
		t.Error("who has no key is let in")
	}
	old := hub.Workers
	hub.Close()
	again, err := Serve(t.Context(), HubOptions{Dir: dir, Listen: "127.0.0.1:0", Space: 200e6, Renew: true})
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	old.Address, old.Print = again.Home.Address, again.Home.Print
	if nc, err := old.dial("old"); err == nil {
		nc.Close()
		t.Error("an invitation that was made void is let in")
	}
}

// TestInvitationsAreReadAsTheyAreWritten, and nothing else is.
func TestInvitationsAreReadAsTheyAreWritten(t *testing.T) {
	t.Parallel()
	seed, err := newSeed()
	if err != nil {
		t.Fatal(err)
	}
	in := Invitation{Address: "[::1]:4747", Print: strings.Repeat("0f", 32), Seed: seed}
	if got, err := ParseInvitation(" " + in.String() + "\n"); err != nil || got != in {
		t.Errorf("%+v, %v", got, err)
	}
	in.Guest = "anna-2"
	if got, err := ParseInvitation(in.String()); err != nil || got != in {
		t.Errorf("%+v, %v", got, err)
	}
	in.Guest = ""
	for _, bad := range []string{"", "a/b", in.Address + "/" + in.Print + "/S", "nowhere/" + in.Print + "/" + seed,
		in.Address + "/ff/" + seed, in.String() + "/", in.String() + "/all", in.String() + "/a b",
		in.String() + "/x/y"} {
		if _, err := ParseInvitation(bad); err == nil {
			t.Errorf("%q is read", bad)
		} else if strings.Contains(err.Error(), seed) {
			t.Errorf("the error tells the key: %v", err)
		}
	}
}

// TestTheCacheKeepsItsBound: what is in use stays, what was not used for longest goes.
func TestTheCacheKeepsItsBound(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	home := joinHere(t, hub.Home, 0)
	var files []order.File
	for n := range 4 {
		o, path := write(t, n, strings.Repeat("x", 1000+n))
		files = append(files, o.Inputs[0])
		if err := home.depot.put(t.Context(), readShelf, o.Inputs[0], path); err != nil {
			t.Fatal(err)
		}
	}
	c, err := newCache(filepath.Join(t.TempDir(), "files"), 2500, home.depot, nil)
	if err != nil {
		t.Fatal(err)
	}
	use := func(n int) func() {
		_, free, err := c.use(t.Context(), files[n])
		if err != nil {
			t.Fatal(err)
		}
		return free
	}
	held := use(0)
	use(1)()
	use(2)() // 1 goes: 0 is in use
	use(3)() // 2 goes
	held()
	list, err := os.ReadDir(c.dir)
	if err != nil || len(list) != 2 {
		t.Fatalf("%v, %v", list, err)
	}
	for _, n := range []int{0, 3} {
		if _, err := os.Stat(filepath.Join(c.dir, files[n].Hash)); err != nil {
			t.Errorf("file %d is gone", n)
		}
	}
	missing := order.File{Hash: hashText([]byte("never sent")), Size: 1}
	if _, _, err := c.use(t.Context(), missing); err == nil || c.bytes > 2500 {
		t.Errorf("a file that is not there: %v, %d bytes", err, c.bytes)
	}
}
