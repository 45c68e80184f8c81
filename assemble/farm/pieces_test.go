package farm

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/nats-io/nats.go"

	"ripieno/assemble/order"
)

// TestASealOpensForWhoKnowsTheHash, and for nobody else: not under another hash, not in
// another place of the file, not when a bit has changed.
func TestASealOpensForWhoKnowsTheHash(t *testing.T) {
	t.Parallel()
	plain := []byte("a child plays the recorder")
	s, err := sealOf(hashText(plain))
	if err != nil {
		t.Fatal(err)
	}
	again, err := sealOf(hashText(plain))
	if err != nil {
		t.Fatal(err)
	}
	locked := s.lock(3, plain)
	if !bytes.Equal(locked, again.lock(3, plain)) || s.name != again.name {
		t.Error("the same bytes are sealed in two ways")
	}
	if bytes.Contains(locked, []byte("child")) || strings.Contains(s.name, hashText(plain)) {
		t.Errorf("%q, named %q, tells what it seals", locked, s.name)
	}
	if got, err := again.open(3, bytes.Clone(locked)); err != nil || !bytes.Equal(got, plain) {
		t.Errorf("%q, %v", got, err)
	}
	other, err := sealOf(hashText([]byte("another")))
	if err != nil {
		t.Fatal(err)
	}
	changed := bytes.Clone(locked)
	changed[0] ^= 1
	for name, try := range map[string]func() ([]byte, error){
		"by another hash":  func() ([]byte, error) { return other.open(3, bytes.Clone(locked)) },
		"in another place": func() ([]byte, error) { return s.open(4, bytes.Clone(locked)) },
		"changed":          func() ([]byte, error) { return s.open(3, changed) },
		"cut short":        func() ([]byte, error) { return s.open(3, locked[:8:8]) },
	} {
		if got, err := try(); !errors.Is(err, errDamaged) {
			t.Errorf("%s: %q, %v", name, got, err)
		}
	}
	for _, bad := range []string{"", "x", strings.Repeat("g", 64), strings.Repeat("a", 62)} {
		if _, err := sealOf(bad); err == nil {
			t.Errorf("%q is a hash", bad)
		}
	}
}

// TestFilesOfAllSizesTravel: none, less than a piece, a piece, one byte more, many more
// than are on the way at once; each once, though it is sent twice.
func TestFilesOfAllSizesTravel(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	home, worker := filesAt(t, hub.Home, "home-files"), filesAt(t, hub.Workers, "worker-files")
	dir := t.TempDir()
	for _, size := range []int{0, 1, piece - 1, piece, piece + 1, (onTheWay + 2) * piece} {
		data := bytes.Repeat([]byte(fmt.Sprintf("%d.", size)), size/2+1)[:size]
		path := filepath.Join(dir, fmt.Sprint(size))
		f := written(t, path, data)
		sendTwice(t, home, worker, f, path)
		if !worker.has(t.Context(), readShelf, f) {
			t.Errorf("%d bytes are not there", size)
		}
		if err := worker.get(t.Context(), readShelf, f, path+".came"); err != nil {
			t.Errorf("%d bytes: %v", size, err)
		}
		if came, err := os.ReadFile(path + ".came"); err != nil || !bytes.Equal(came, data) {
			t.Errorf("%d bytes came for %d, %v", len(came), size, err)
		}
		stream, err := home.js.Stream(t.Context(), string(readShelf))
		if err != nil {
			t.Fatal(err)
		}
		if n := stream.CachedInfo().State.Msgs; n != uint64(count(f.Size)+1) {
			t.Errorf("%d bytes are %d messages", size, n)
		}
		longer := f
		longer.Size++
		if worker.has(t.Context(), readShelf, longer) {
			t.Errorf("a file of %d bytes is there as one of %d", size, longer.Size)
		}
		if err := home.put(t.Context(), madeShelf, longer, path); err == nil {
			t.Errorf("%d bytes were sent as %d", size, longer.Size)
		}
		if err := home.drop(t.Context(), readShelf, f.Hash); err != nil {
			t.Error(err)
		}
		gone := order.File{Hash: f.Hash, Size: max(1, f.Size)}
		if err := worker.get(t.Context(), readShelf, gone, path+".gone"); !errors.Is(err, errMissing) {
			t.Errorf("what was removed: %v", err)
		}
		if _, err := os.Stat(path + ".gone"); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("it left a file: %v", err)
		}
	}
}

// TestAFileGoesOnWhereTheLineWasCut: a worker that fetches a file while its line is cut
// and mended has it whole.
func TestAFileGoesOnWhereTheLineWasCut(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	home := filesAt(t, hub.Home, "home-files")
	path := filepath.Join(t.TempDir(), "take")
	if err := os.WriteFile(path, bytes.Repeat([]byte("la"), 5*onTheWay*piece/2), 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := hashed("", path)
	if err != nil {
		t.Fatal(err)
	}
	if err := home.put(t.Context(), readShelf, f, path); err != nil {
		t.Fatal(err)
	}
	nc, err := hub.Workers.dial("far", nats.CustomInboxPrefix(inboxPrefix+".far"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	far, err := newPieces(nc)
	if err != nil {
		t.Fatal(err)
	}
	ended := make(chan error, 1)
	go func() { ended <- far.get(t.Context(), readShelf, f, path+".came") }()
	for nc.Stats().InMsgs < onTheWay && t.Context().Err() == nil {
		time.Sleep(time.Millisecond)
	}
	if err := nc.ForceReconnect(); err != nil {
		t.Fatal(err)
	}
	if err := <-ended; err != nil {
		t.Error(err)
	}
	if nc.Stats().Reconnects == 0 {
		t.Error("the line was never cut")
	}
	if n := nc.Stats().InBytes; n > uint64(2*f.Size) {
		t.Errorf("%d bytes came for a file of %d: it was begun anew", n, f.Size)
	}
}

// TestHandsHoldNothingBack: a worker asks for as many orders as it has cores, and for one
// more only while all of them work.
func TestHandsHoldNothingBack(t *testing.T) {
	t.Parallel()
	h := newHands(2)
	may := func() bool {
		ctx, stop := context.WithTimeout(t.Context(), 20*time.Millisecond)
		defer stop()
		_, ok := h.take(ctx)
		return ok
	}
	for range 2 {
		if !may() {
			t.Fatal("two cores do not ask for two orders")
		}
	}
	if may() {
		t.Error("a third is asked for while no core works")
	}
	for range 2 {
		if !h.begin(t.Context()) {
			t.Fatal("a core is not free")
		}
	}
	if !may() {
		t.Fatal("none is asked for ahead while all cores work")
	}
	if may() {
		t.Error("two are asked for ahead")
	}
	begun := make(chan bool, 1)
	go func() { begun <- h.begin(t.Context()) }()
	select {
	case <-begun:
		t.Error("three orders are made on two cores")
	case <-time.After(20 * time.Millisecond):
	}
	h.end()
	h.put()
	if !<-begun {
		t.Error("the order ahead does not begin when a core is free")
	}
	ctx, stop := context.WithCancel(t.Context())
	stop()
	if _, ok := h.take(ctx); ok || h.begin(ctx) {
		t.Error("hands work on when it is over")
	}
}

// written writes a file and returns it as orders name it.
func written(t *testing.T, path string, data []byte) order.File {
	t.Helper()
	if err := os.WriteFile(path, data, 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := hashed("", path)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// sendTwice sends a file that nobody at the other end has, and sends it again, which is fine.
func sendTwice(t *testing.T, from, to depot, f order.File, path string) {
	t.Helper()
	if to.has(t.Context(), readShelf, f) {
		t.Errorf("%d bytes are there before they are sent", f.Size)
	}
	for range 2 {
		if err := from.put(t.Context(), readShelf, f, path); err != nil {
			t.Errorf("%d bytes: %v", f.Size, err)
		}
	}
}

// TestFilesAreSentOneAfterTheOther: while so many files are sent as fill the line, nothing of
// another one is, so that who waits for the first has it before the last is begun.
func TestFilesAreSentOneAfterTheOther(t *testing.T) {
	p := filesAt(t, serveHere(t, t.TempDir()).Home, "home")
	path := filepath.Join(t.TempDir(), "take")
	if err := os.WriteFile(path, make([]byte, 3*piece), 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := hashed("", path)
	if err != nil {
		t.Fatal(err)
	}
	lock, err := sealOf(f.Hash)
	if err != nil {
		t.Fatal(err)
	}
	for range onTheWay / inOneFile {
		p.turns <- struct{}{}
	}
	soon, stop := context.WithTimeout(t.Context(), 300*time.Millisecond)
	defer stop()
	if err := p.put(soon, readShelf, f, path); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("it did not wait: %v", err)
	}
	if _, err := p.ask(t.Context(), readShelf, pieceSubject(readShelf, lock.name, "0")); !errors.Is(err, errMissing) {
		t.Errorf("it was begun: %v", err)
	}
	<-p.turns
	if err := p.put(t.Context(), readShelf, f, path); err != nil || !p.has(t.Context(), readShelf, f) {
		t.Errorf("it was not sent in its turn: %v", err)
	}
	if len(p.turns) != onTheWay/inOneFile-1 {
		t.Errorf("%d turns are taken", len(p.turns))
	}
}
