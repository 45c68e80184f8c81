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
	"testing"
	"time"

	"ripieno/assemble/farm/farmtest"
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
	return []string{folderKey + "=" + filepath.Join(tr.folder, name), nameKey + "=" + name,
		atKey + "=" + tr.workers.String()}
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
