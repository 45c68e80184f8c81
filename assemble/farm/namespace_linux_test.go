package farm

import (
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go/jetstream"
)

// apartKey is set in the process that has a network of its own.
const apartKey = "RIPIENO_TEST_APART"

// apart runs the test that calls it again, in a process with a network of its own in which
// it may do as it likes, and reports whether this is that process. The machine's own
// network is left alone. Where such a process is not allowed the test is left out.
func apart(t *testing.T) bool {
	t.Helper()
	if os.Getenv(apartKey) != "" {
		command(t, "ip", "link", "set", "lo", "up")
		return true
	}
	own := []string{"--user", "--map-root-user", "--net"}
	for _, program := range []string{"ip", "nsenter", "unshare"} {
		if _, err := exec.LookPath(program); err != nil {
			t.Skipf("no network namespaces: %v", err)
		}
	}
	try := append(own, "sh", "-c", "ip link add near type veth peer name far && unshare --net true")
	if out, err := exec.CommandContext(t.Context(), "unshare", try...).CombinedOutput(); err != nil {
		t.Skipf("network namespaces are not allowed here: %v, %s", err, out)
	}
	cmd := exec.CommandContext(t.Context(), "unshare", append(own, os.Args[0], "-test.run=^"+t.Name()+"$", "-test.v")...)
	cmd.Env = append(os.Environ(), apartKey+"=1")
	out, err := cmd.CombinedOutput()
	t.Logf("in a network of its own:\n%s", out)
	if err != nil || !strings.Contains(string(out), "--- PASS: "+t.Name()) {
		t.Errorf("there it does not pass: %v", err)
	}
	return false
}

// command runs a program that must not fail.
func command(t *testing.T, words ...string) {
	t.Helper()
	if out, err := exec.CommandContext(t.Context(), words[0], words[1:]...).CombinedOutput(); err != nil {
		t.Fatalf("%s: %v, %s", strings.Join(words, " "), err, out)
	}
}

// Addresses of both ends of a cable, of those for tests of networks (RFC 2544).
const nearEnd, farEnd = "198.18.0.1", "198.18.0.2"

// island is a network namespace with nothing in it but the far end of a cable.
type island struct {
	t      *testing.T
	holder string // process that keeps it
}

// newIsland lays a cable from this network to one of its own.
func newIsland(t *testing.T) island {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), "unshare", "--net", "sh", "-c", "echo; read x")
	in, err1 := cmd.StdinPipe()
	out, err2 := cmd.StdoutPipe()
	if err := errors.Join(err1, err2, cmd.Start()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { in.Close(); _ = cmd.Wait() })
	if _, err := io.ReadFull(out, make([]byte, 1)); err != nil { // it is there
		t.Fatal(err)
	}
	i := island{t, strconv.Itoa(cmd.Process.Pid)}
	command(t, "ip", "link", "add", "near", "type", "veth", "peer", "name", "far")
	command(t, "ip", "link", "set", "far", "netns", i.holder)
	command(t, "ip", "address", "add", nearEnd+"/30", "dev", "near")
	command(t, "ip", "link", "set", "near", "up")
	i.there("ip", "address", "add", farEnd+"/30", "dev", "far")
	i.there("ip", "link", "set", "far", "up")
	return i
}

// inside returns the words that run a program on the island.
func (i island) inside(words ...string) []string {
	return append([]string{"nsenter", "--target", i.holder, "--net"}, words...)
}

func (i island) there(words ...string) { i.t.Helper(); command(i.t, i.inside(words...)...) }

// pull takes the cable out at the far end: what is sent is lost, and nobody is told.
func (i island) pull() { i.t.Helper(); i.there("ip", "link", "set", "far", "down") }

// plug puts it in again.
func (i island) plug() { i.t.Helper(); i.there("ip", "link", "set", "far", "up") }

// TestACableIsPulledAndComesBackLate pulls the cable of a worker that has a network of its
// own while it works on an order, which another makes then. What the first says when it is
// back changes nothing and stays nowhere, and it gets orders again.
func TestACableIsPulledAndComesBackLate(t *testing.T) {
	t.Parallel()
	if !apart(t) {
		return
	}
	cable := newIsland(t)
	tr := &troupe{t: t, folder: t.TempDir()}
	tr.diary = filepath.Join(tr.folder, "diary")
	tr.serve(nearEnd + ":0")
	far := func() { tr.startWith(cable.inside(os.Args[0]), "worker", io.Discard, tr.worker("far")...) }
	far()
	home := joinHere(t, tr.home, 1)
	make := func(id int, seconds map[string]float64) <-chan error {
		o, path := slowOrder(t, id, seconds)
		made := make(chan error, 1)
		go func() { made <- home.Make(t.Context(), o, []string{path}, filepath.Join(tr.folder, fmt.Sprint(id))) }()
		return made
	}
	made := make(7, map[string]float64{"far": (4 * lease).Seconds(), "near": 0.1})
	tr.await("far", "began", 7)
	cable.pull()
	pulled := time.Now()
	near := tr.work("near")
	if err := <-made; err != nil {
		t.Fatal(err)
	}
	again := tr.await("near", "began", 7)
	t.Logf("it began elsewhere %.2f s after the cable was pulled; the lease is %v", again.Sub(pulled).Seconds(), lease)
	tr.await("far", "ended", 7)
	isThere := func() bool {
		return slices.ContainsFunc(home.Machines(), func(m Machine) bool { return m.Name == "far" })
	}
	for isThere() { // else it would be taken for back
		pause(t)
	}
	cable.plug()
	for n := 0; !isThere() && n < 1200; n++ {
		pause(t)
	}
	tr.kill(near)
	if err := <-make(8, map[string]float64{"far": 0.1}); err != nil {
		t.Errorf("the worker that was away gets nothing any more: %v", err)
	}
	for id, want := range map[int]string{7: "7, 7, ", 8: "8, 8, "} {
		if data, err := os.ReadFile(filepath.Join(tr.folder, fmt.Sprint(id))); err != nil || string(data) != want {
			t.Errorf("%d: %q, %v", id, data, err)
		}
	}
	nothingLeft(t, home.list)
}

// nothingLeft waits until a stream is empty.
func nothingLeft(t *testing.T, s jetstream.Stream) {
	t.Helper()
	for range 200 {
		if i, err := s.Info(t.Context()); err == nil && i.State.Msgs == 0 {
			return
		}
		pause(t)
	}
	t.Error("what came late is kept at the hub")
}
