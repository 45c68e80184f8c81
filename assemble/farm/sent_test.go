package farm

import (
	"context"
	"fmt"
	"slices"
	"testing"

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
		s.use(t.Context(), file(name))
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
