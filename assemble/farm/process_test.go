package farm

import (
	"bufio"
	"context"
	"encoding/json"
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"ripieno/assemble/farm/farmtest"
	"ripieno/assemble/order"
)

// The test binary is also what tests start as processes of their own, to kill them: a
// variable says what such a process is.
const (
	roleKey   = "RIPIENO_TEST_ROLE" // hub or worker
	folderKey = "RIPIENO_TEST_FOLDER"
	atKey     = "RIPIENO_TEST_AT" // where the hub listens, or the worker's invitation
	nameKey   = "RIPIENO_TEST_NAME"
	diaryKey  = "RIPIENO_TEST_DIARY" // file to which workers write what they do
)

// together is how many tests run at once: they wait far more than they compute.
const together = "8"

func TestMain(m *testing.M) {
	lease, hereEvery, reconnectWait, slowest = 2*time.Second, time.Second, 200*time.Millisecond, 500e3
	if role := os.Getenv(roleKey); role != "" {
		if err := play(role); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		return
	}
	chosen := false
	flag.Parse()
	flag.Visit(func(f *flag.Flag) { chosen = chosen || f.Name == "test.parallel" })
	if !chosen {
		if err := flag.Set("test.parallel", together); err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
	}
	os.Exit(m.Run())
}

// play is the whole life of a process that a test has started. It ends with the test,
// whatever becomes of that: its input is closed then.
func play(role string) error {
	ctx, end := context.WithCancel(context.Background())
	go func() {
		_, _ = io.Copy(io.Discard, os.Stdin)
		end()
	}()
	if role == "hub" {
		h, err := Serve(ctx, HubOptions{Dir: os.Getenv(folderKey), Listen: os.Getenv(atKey), Space: 2e9})
		if err != nil {
			return err
		}
		fmt.Printf("%s\n%s\n", h.Home, h.Workers)
		<-ctx.Done()
		return nil
	}
	in, err := ParseInvitation(os.Getenv(atKey))
	if err != nil {
		return err
	}
	err = Work(ctx, in, WorkerOptions{Name: os.Getenv(nameKey), Cores: 1, Space: 50e6, Dir: os.Getenv(folderKey),
		Class: class, Rules: map[string]Rule{"slow": slow}})
	if errors.Is(err, context.Canceled) {
		return nil
	}
	return err
}

// slowArgs say how many seconds a worker of a name takes for an order.
type slowArgs struct {
	ID      int
	Seconds map[string]float64
}

// slow doubles its input in its own time and keeps a diary of it.
func slow(ctx context.Context, args []byte, in []string, dst string) error {
	var a slowArgs
	if err := json.Unmarshal(args, &a); err != nil {
		return err
	}
	name := os.Getenv(nameKey)
	if err := note(name, "began", a.ID); err != nil {
		return err
	}
	select {
	case <-time.After(time.Duration(a.Seconds[name] * float64(time.Second))):
	case <-ctx.Done():
		return ctx.Err()
	}
	if err := double(ctx, args, in, dst); err != nil {
		return err
	}
	return note(name, "ended", a.ID)
}

// note adds a line to the diary. Short writes to the end of a file do not mix.
func note(name, what string, id int) error {
	f, err := os.OpenFile(os.Getenv(diaryKey), os.O_APPEND|os.O_CREATE|os.O_WRONLY, 0o600)
	if err != nil {
		return err
	}
	defer f.Close()
	_, err = fmt.Fprintf(f, "%d %s %s %d\n", time.Now().UnixNano(), name, what, id)
	return err
}

// event is a line of the diary.
type event struct {
	at         time.Time
	name, what string
	id         int
}

// troupe is a hub and workers in processes of their own.
type troupe struct {
	t             testing.TB
	folder, diary string
	home, workers Invitation
	program       string // of an outside server, which is the hub then
	hub           *exec.Cmd
}

// gather starts a hub in a process of its own: this program, or an outside server.
func gather(t testing.TB, program string) *troupe {
	t.Helper()
	tr := &troupe{t: t, folder: t.TempDir(), program: program}
	tr.diary = filepath.Join(tr.folder, "diary")
	tr.serve("127.0.0.1:0")
	return tr
}

// start starts a process of this binary, which ends with the test.
func (tr *troupe) start(role string, stdout io.Writer, env ...string) *exec.Cmd {
	tr.t.Helper()
	return tr.startWith([]string{os.Args[0]}, role, stdout, env...)
}

// startWith starts one by the words that run it somewhere else.
func (tr *troupe) startWith(words []string, role string, stdout io.Writer, env ...string) *exec.Cmd {
	tr.t.Helper()
	cmd := exec.CommandContext(tr.t.Context(), words[0], words[1:]...)
	cmd.Env = append(os.Environ(), roleKey+"="+role, diaryKey+"="+tr.diary)
	cmd.Env = append(cmd.Env, env...)
	cmd.Stdout, cmd.Stderr = stdout, os.Stderr
	in, err := cmd.StdinPipe()
	if err == nil {
		err = cmd.Start()
	}
	if err != nil {
		tr.t.Fatal(err)
	}
	tr.t.Cleanup(func() { in.Close(); _ = cmd.Wait() })
	return cmd
}

// serve starts the hub at an address and waits until it is up.
func (tr *troupe) serve(at string) {
	tr.t.Helper()
	if tr.program != "" {
		tr.serveOutside(at)
		return
	}
	r, w := io.Pipe()
	tr.hub = tr.start("hub", w, folderKey+"="+filepath.Join(tr.folder, "hub"), atKey+"="+at)
	lines := bufio.NewScanner(r)
	for _, in := range []*Invitation{&tr.home, &tr.workers} {
		if !lines.Scan() {
			tr.t.Fatal("the hub does not come up")
		}
		var err error
		if *in, err = ParseInvitation(lines.Text()); err != nil {
			tr.t.Fatal(err)
		}
	}
	go func() { _, _ = io.Copy(io.Discard, r) }() // else what it says at its end would keep Wait waiting
}

// serveOutside starts an outside server, configured in the folder of the hub.
func (tr *troupe) serveOutside(at string) {
	tr.t.Helper()
	out, err := Configure(OutsideOptions{Dir: filepath.Join(tr.folder, "hub"), Address: at, Space: 200e6})
	if err != nil {
		tr.t.Fatal(err)
	}
	if tr.home.Address == "" {
		at = "" // a free port
	}
	s := farmtest.Start(tr.t, tr.program, out.Config, at)
	tr.hub, tr.home, tr.workers = s.Cmd, out.Home, out.Workers
	tr.home.Address, tr.workers.Address = s.Address, s.Address
}

// restart kills the hub and starts it again at its address.
func (tr *troupe) restart(emptied bool) {
	tr.t.Helper()
	tr.kill(tr.hub)
	if emptied {
		for _, name := range []string{"jetstream", "store"} { // a hub's, and an outside server's
			if err := os.RemoveAll(filepath.Join(tr.folder, "hub", name)); err != nil {
				tr.t.Error(err)
			}
		}
	}
	tr.serve(tr.home.Address)
}

// work starts a worker.
func (tr *troupe) work(name string) *exec.Cmd {
	tr.t.Helper()
	return tr.start("worker", io.Discard, tr.worker(name)...)
}

// worker returns the environment of a worker.
func (tr *troupe) worker(name string) []string {
	return []string{folderKey + "=" + filepath.Join(tr.folder, name), nameKey + "=" + name, atKey + "=" + tr.workers.String()}
}

// kill ends a process as kill -9 does, and waits until it is gone.
func (tr *troupe) kill(cmd *exec.Cmd) {
	tr.t.Helper()
	if err := cmd.Process.Kill(); err != nil {
		tr.t.Error(err)
	}
	_ = cmd.Wait()
}

// events reads the diary.
func (tr *troupe) events() (list []event) {
	data, err := os.ReadFile(tr.diary)
	if err != nil {
		return nil
	}
	for line := range strings.Lines(string(data)) {
		f := strings.Fields(line)
		at, err1 := strconv.ParseInt(f[0], 10, 64)
		id, err2 := strconv.Atoi(f[3])
		if err := errors.Join(err1, err2); err != nil {
			tr.t.Error(err)
		}
		list = append(list, event{time.Unix(0, at), f[1], f[2], id})
	}
	return list
}

// await waits until the diary has an event, and returns when it was.
func (tr *troupe) await(name, what string, id int) time.Time {
	tr.t.Helper()
	for range 1200 {
		for _, e := range tr.events() {
			if e.name == name && e.what == what && e.id == id {
				return e.at
			}
		}
		pause(tr.t)
	}
	tr.t.Fatalf("never seen: %s %s %d; the diary: %v", name, what, id, tr.events())
	return time.Time{}
}

// pause waits a little.
func pause(t testing.TB) {
	t.Helper()
	select {
	case <-t.Context().Done():
		t.Fatal(t.Context().Err())
	case <-time.After(50 * time.Millisecond):
	}
}

// waitForCores waits until so many cores are at the hub.
func waitForCores(t *testing.T, h *Home, cores int) {
	t.Helper()
	for range 1200 {
		if h.Cores() == cores {
			return
		}
		pause(t)
	}
	t.Fatalf("%d cores instead of %d", h.Cores(), cores)
}

// slowOrder writes a file and the order that doubles it slowly.
func slowOrder(t *testing.T, id int, seconds map[string]float64) (order.Order, string) {
	t.Helper()
	o, path := write(t, id, fmt.Sprintf("%d, ", id))
	args, err := json.Marshal(slowArgs{id, seconds})
	if err != nil {
		t.Fatal(err)
	}
	o.Rule, o.Args = "slow", args
	return o, path
}

// TestAKilledWorkersOrderBeginsElsewhere kills the process that works on an order with
// kill -9. Another one, which is there and idle, begins it after the lease.
func TestAKilledWorkersOrderBeginsElsewhere(t *testing.T) {
	t.Parallel()
	tr := gather(t, "")
	first := tr.work("first")
	home := joinHere(t, tr.home, 1)
	o, path := slowOrder(t, 7, map[string]float64{"first": 3600, "second": 0.1})
	dst, made := filepath.Join(t.TempDir(), "out.txt"), make(chan error, 1)
	go func() { made <- home.Make(t.Context(), o, []string{path}, dst) }()
	began := tr.await("first", "began", 7)
	tr.work("second")
	waitForCores(t, home, 2)
	killed := time.Now()
	tr.kill(first)
	if err := <-made; err != nil {
		t.Fatal(err)
	}
	again := tr.await("second", "began", 7)
	if again.Before(killed) || killed.Before(began) {
		t.Errorf("began %v, killed %v, began elsewhere %v", began, killed, again)
	}
	t.Logf("it began elsewhere %.2f s after the kill; the lease is %v", again.Sub(killed).Seconds(), lease)
	if data, err := os.ReadFile(dst); err != nil || string(data) != "7, 7, " {
		t.Errorf("%q, %v", data, err)
	}
	if n := len(tr.events()); n != 3 {
		t.Errorf("%d events: %v", n, tr.events())
	}
}

// TestALongOrderStaysWithItsWorker: an order of more leases than it has tries is begun
// once, though another worker has nothing to do, as long as its own says that it works.
func TestALongOrderStaysWithItsWorker(t *testing.T) {
	t.Parallel()
	tr := gather(t, "")
	for _, name := range []string{"first", "second"} {
		tr.work(name)
	}
	home := joinHere(t, tr.home, 2)
	long := ((tries + 1) * lease).Seconds()
	o, path := slowOrder(t, 7, map[string]float64{"first": long, "second": long})
	dst := filepath.Join(t.TempDir(), "out.txt")
	if err := home.Make(t.Context(), o, []string{path}, dst); err != nil {
		t.Fatal(err)
	}
	if e := tr.events(); len(e) != 2 || e[0].what != "began" || e[1].what != "ended" || e[0].name != e[1].name ||
		e[1].at.Sub(e[0].at) < tries*lease {
		t.Errorf("%v", e)
	}
}

// TestARunOutlivesKills has forty orders made while a worker and twice the hub are
// killed with kill -9, and the hub is started again, once with nothing of what it held.
// What fails away is made at home, as a run does: all outputs are right, and there is
// nothing beside them.
func TestARunOutlivesKills(t *testing.T) {
	t.Parallel()
	outliveKills(t, gather(t, ""))
}

// outliveKills is that test, of a hub of any kind.
func outliveKills(t *testing.T, tr *troupe) {
	t.Helper()
	doomed := tr.work("doomed")
	tr.work("steady")
	home := joinHere(t, tr.home, 2)
	const orders, atOnce = 40, 4
	dst := t.TempDir()
	todo := make(chan int)
	var away, atHome atomic.Int32
	var run sync.WaitGroup
	for range atOnce {
		run.Go(func() {
			for id := range todo {
				o, path := slowOrder(t, id, map[string]float64{"doomed": 0.2, "steady": 0.2})
				out := filepath.Join(dst, fmt.Sprint(id))
				if err := home.Make(t.Context(), o, []string{path}, out); err == nil {
					away.Add(1)
				} else {
					t.Logf("%d is made at home: %v", id, err)
					atHome.Add(1)
					if err := double(t.Context(), nil, []string{path}, out); err != nil {
						t.Error(err)
					}
				}
			}
		})
	}
	for id := range orders {
		todo <- id
		switch id {
		case 8:
			tr.kill(doomed)
		case 16, 24:
			before := home.nc.Stats().Reconnects
			tr.restart(id == 24)
			// Else all the rest would be made at home at once, and nothing of it tried.
			for home.nc.Stats().Reconnects == before {
				pause(t)
			}
		case 32:
			tr.work("late")
		}
	}
	close(todo)
	run.Wait()
	checkOutputs(t, dst, orders)
	t.Logf("%d made elsewhere, %d at home", away.Load(), atHome.Load())
	if away.Load() < orders/2 {
		t.Errorf("only %d of %d orders were made elsewhere", away.Load(), orders)
	}
	// An order that was given twice, as the hub lost that it was made, may be worked on still.
	left := []string{""}
	for n := 0; len(left) > 0 && n < 200; n++ {
		var err error
		if left, err = filepath.Glob(filepath.Join(tr.folder, "steady", "order-*")); err != nil {
			t.Fatal(err)
		}
		if len(left) > 0 {
			pause(t)
		}
	}
	if len(left) > 0 {
		t.Errorf("the worker has %v", left)
	}
	// A worker that lost its line says again what it is not sure to have said. While the
	// home's is lost too nobody hears that, and it stays for a day: of two workers, twice.
	for name, most := range map[string]uint64{ordersStream: 0, resultsStream: 4} {
		left := most + 1
		for n := 0; left > most && n < 200; n++ { // their last words are on their way
			s, err := home.js.Stream(t.Context(), name)
			if err != nil {
				t.Log(err) // a hub on a busy machine takes its time
			} else {
				left = s.CachedInfo().State.Msgs
			}
			if left > most {
				pause(t)
			}
		}
		if left > most {
			t.Errorf("%d %s are left at the hub", left, name)
		}
	}
}

// checkOutputs looks at what orders made in a folder.
func checkOutputs(t *testing.T, folder string, orders int) {
	t.Helper()
	list, err := os.ReadDir(folder)
	if err != nil || len(list) != orders {
		t.Errorf("%d files for %d orders, %v", len(list), orders, err)
	}
	for id := range orders {
		data, err := os.ReadFile(filepath.Join(folder, fmt.Sprint(id)))
		if want := fmt.Sprintf("%d, %d, ", id, id); err != nil || string(data) != want {
			t.Errorf("%d: %q, %v", id, data, err)
		}
	}
}
