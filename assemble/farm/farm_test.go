package farm

import (
	"context"
	"encoding/json"
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

// double is a made-up rule: the output is the input twice.
func double(_ context.Context, _ []byte, in []string, dst string) error {
	data, err := os.ReadFile(in[0])
	if err != nil {
		return err
	}
	return os.WriteFile(dst, append(data, data...), 0o600)
}

var class = Class{Rules: "1", FFmpeg: "ffmpeg version 5.1", Arch: "amd64", Trial: "x"}

// serveHere starts a hub for the test.
func serveHere(t *testing.T, dir string) *Hub {
	t.Helper()
	h, err := Serve(t.Context(), HubOptions{Dir: dir, Listen: "127.0.0.1:0", Space: 200e6})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(h.Close)
	return h
}

// workHere starts a worker that ends with the test, or when the returned function is
// called.
func workHere(t *testing.T, in Invitation, o WorkerOptions) (stop func()) {
	t.Helper()
	if o.Dir == "" {
		o.Dir = filepath.Join(t.TempDir(), "work")
	}
	if o.Space == 0 {
		o.Space = 50e6
	}
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- Work(ctx, in, o) }()
	stop = func() {
		cancel()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Errorf("the worker %s ended with %v", o.Name, err)
		}
		if _, err := os.Stat(o.Dir); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("the worker's folder is still there: %v", err)
		}
		ended <- context.Canceled
	}
	t.Cleanup(stop)
	return stop
}

// joinHere connects a home that waits for a number of cores.
func joinHere(t *testing.T, in Invitation, cores int) *Home {
	t.Helper()
	h, err := Join(t.Context(), in, class, Places{})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(h.Close)
	for range 600 {
		if h.Cores() >= cores {
			return h
		}
		select {
		case <-t.Context().Done():
		case <-time.After(50 * time.Millisecond):
		}
	}
	t.Fatalf("%d cores instead of %d", h.Cores(), cores)
	return nil
}

// write makes a file and the order that doubles it.
func write(t *testing.T, n int, text string) (order.Order, string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), fmt.Sprint(n))
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	f, err := hashed("in.txt", path)
	if err != nil {
		t.Fatal(err)
	}
	return order.Order{Key: hashText(fmt.Append(nil, n)), Rule: "double", Args: json.RawMessage("{}"),
		Inputs: []order.File{f}, Ext: ".txt"}, path
}

// filesAt returns the files of a hub, as whoever has an invitation sees them.
func filesAt(t testing.TB, in Invitation, name string) *pieces {
	t.Helper()
	nc, err := in.dial(name, nats.CustomInboxPrefix(inboxPrefix+"."+name))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(nc.Close)
	p, err := newPieces(nc)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// plant puts a text under a hash that need not be its own.
func plant(t *testing.T, d depot, on shelf, hash, text string) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "planted")
	err := os.WriteFile(path, []byte(text), 0o600)
	if err == nil {
		err = d.put(t.Context(), on, order.File{Hash: hash, Size: int64(len(text))}, path)
	}
	if err != nil {
		t.Error(err)
	}
}

// textAt returns what a file of a depot says.
func textAt(t *testing.T, d depot, on shelf, f order.File) (string, error) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "text")
	if err := d.get(t.Context(), on, f, path); err != nil {
		return "", err
	}
	data, err := os.ReadFile(path)
	return string(data), err
}

// TestOrdersAreCarriedOutElsewhere runs a hub, a home and two workers in one process.
func TestOrdersAreCarriedOutElsewhere(t *testing.T) {
	t.Parallel()
	hub := serveHere(t, t.TempDir())
	for _, name := range []string{"first", "second"} {
		workHere(t, hub.Workers, WorkerOptions{Name: name, Cores: 2, Class: class, Rules: map[string]Rule{"double": double}})
	}
	giveTwelve(t, joinHere(t, hub.Home, 4))
}

// giveTwelve has a home give out twelve orders at once.
func giveTwelve(t *testing.T, home *Home) {
	t.Helper()
	errs := make(chan error)
	for n := range 12 {
		go func() {
			o, path := write(t, n, strings.Repeat(fmt.Sprint(n), 400_000))
			dst := filepath.Join(t.TempDir(), "out.txt")
			err := home.Make(t.Context(), o, []string{path}, dst)
			if data, e := os.ReadFile(dst); err == nil && (e != nil || string(data) != strings.Repeat(fmt.Sprint(n), 800_000)) {
				err = fmt.Errorf("%d came back with %d bytes, %v", n, len(data), e)
			}
			errs <- err
		}()
	}
	for range 12 {
		if err := <-errs; err != nil {
			t.Error(err)
		}
	}
}
