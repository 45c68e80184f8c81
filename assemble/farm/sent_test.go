package farm

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"
	"testing"
	"testing/synctest"

	"ripieno/assemble/order"
)

// shelves is a depot of names.
type shelves map[string]bool

func (s shelves) put(_ context.Context, on shelf, f order.File, _ string) error {
	s[string(on)+" "+f.Hash] = true
	return nil
}
func (s shelves) get(context.Context, shelf, order.File, string) error { return errMissing }
func (s shelves) has(_ context.Context, on shelf, f order.File) bool   { return s[string(on)+" "+f.Hash] }
func (s shelves) drop(_ context.Context, on shelf, hash string) error {
	delete(s, string(on)+" "+hash)
	return nil
}
func (s shelves) space(context.Context, shelf) int64 { return 16 }

func (s shelves) list() string {
	var all []string
	for name := range s {
		all = append(all, name)
	}
	slices.Sort(all)
	return fmt.Sprint(all)
}

// TestBooksOfWhatLiesAtTheHub: what is read stays, what was read first goes first, each
// shelf has its own bound, and what workers made is neither sent again nor kept twice.
func TestBooksOfWhatLiesAtTheHub(t *testing.T) {
	t.Parallel()
	hub := shelves{}
	s := newSent(t.Context(), hub) // 12 bytes on each shelf
	file := func(name string) []order.File { return []order.File{{Hash: name, Size: 5}} }
	send := func(name string) {
		if err := s.use(t.Context(), file(name)); err != nil {
			t.Error(err)
		}
		if !s.isThere(name) {
			_ = hub.put(t.Context(), readShelf, file(name)[0], "")
			s.arrived(name)
		}
	}
	expect := func(when, want string) {
		t.Helper()
		if got := hub.list(); got != want {
			t.Errorf("%s: %s instead of %s", when, got, want)
		}
	}
	send("a")
	send("b")
	s.free(file("b"))
	send("c")
	expect("a and c are read", "[read a read c]")
	s.free(file("a"))
	s.free(file("c"))
	send("a")
	send("d")
	expect("a was read again", "[read a read d]")

	hub["made m"] = true
	s.came(t.Context(), file("m"))
	send("m")
	expect("m was made there", "[made m read a read d]")
	hub["made a"] = true
	s.came(t.Context(), file("a"))
	expect("a was made there too", "[made m read a read d]")

	s.doubt()
	for _, name := range []string{"a", "d", "m"} {
		if s.isThere(name) {
			t.Errorf("%s is trusted to be there", name)
		}
	}
	for _, name := range []string{"a", "a", "d", "m"} {
		s.free(file(name))
	}
	send("e")
	expect("what was read first has gone", "[made m read e]")
	s.clear(t.Context())
	expect("the home has gone", "[]")
	if s.free(file("x")); s.isThere("x") {
		t.Error("what was never sent is there")
	}
}

// TestOrdersWaitForRoomAtTheHub: what no room is left for waits until an order has ended, what
// lies there already does not, and one order is always out, however large its files are.
func TestOrdersWaitForRoomAtTheHub(t *testing.T) {
	t.Parallel()
	synctest.Test(t, func(t *testing.T) {
		s := newSent(t.Context(), shelves{}) // 12 bytes on each shelf
		file := func(name string, size int64) []order.File { return []order.File{{Hash: name, Size: size}} }
		var went []string
		use := func(name string, size int64) {
			go func() {
				if s.use(t.Context(), file(name, size)) == nil {
					went = append(went, name)
				}
			}()
			synctest.Wait()
		}
		expect := func(when, want string) {
			t.Helper()
			if got := fmt.Sprint(went); got != want {
				t.Errorf("%s: %s went out instead of %s", when, got, want)
			}
		}
		use("large", 100)
		use("a", 5)
		expect("a large one is out", "[large]")
		s.free(file("large", 100))
		synctest.Wait()
		use("b", 5)
		use("c", 5)
		use("a", 5)
		expect("two fit", "[large a b a]")
		s.free(file("a", 5))
		synctest.Wait()
		expect("one of two orders that read it has ended", "[large a b a]")
		s.free(file("a", 5))
		synctest.Wait()
		expect("nobody reads it any more", "[large a b a c]")
		ctx, stop := context.WithCancel(t.Context())
		stop()
		if err := s.use(ctx, file("d", 5)); !errors.Is(err, context.Canceled) {
			t.Errorf("a run that has ended: %v", err)
		}
	})
}

// TestMoreOrdersThanFitAreMadeElsewhere: twelve orders at once, of whose files and outputs
// the hub holds two at a time.
func TestMoreOrdersThanFitAreMadeElsewhere(t *testing.T) {
	t.Parallel()
	const size = 400_000
	hub, err := Serve(t.Context(), HubOptions{Dir: t.TempDir(), Listen: "127.0.0.1:0", Space: 16 * size / 6 * 5 / 2})
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(hub.Close)
	o := workers(func(_ context.Context, _ []byte, in []string, dst string) error {
		data, err := os.ReadFile(in[0])
		if err != nil {
			return err
		}
		slices.Reverse(data)
		return os.WriteFile(dst, data, 0o600)
	})
	o.Cores = 4
	workHere(t, hub.Workers, o)
	home := joinHere(t, hub.Home, 4)
	if got := home.sent.space[readShelf]; got < 2*size || got > 3*size {
		t.Fatalf("there is room for %d bytes", got)
	}
	var all sync.WaitGroup
	for n := range 12 {
		all.Go(func() {
			ord, path := write(t, n, strings.Repeat(string(rune('a'+n)), size))
			dst := filepath.Join(t.TempDir(), "out.txt")
			if err := home.Make(t.Context(), ord, []string{path}, dst); err != nil {
				t.Error(n, err)
			} else if info, err := os.Stat(dst); err != nil || info.Size() != size {
				t.Error(n, err)
			}
		})
	}
	all.Wait()
}
