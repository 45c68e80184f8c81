package store

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"testing"
	"time"

	"ripieno/assemble/fault"
)

// TestSteady reads a file while something is done to it.
func TestSteady(t *testing.T) {
	outside := sourceFile(t, "outside")
	replace := func(path, text string) {
		part := path + ".part"
		if err := errors.Join(os.WriteFile(part, []byte(text), 0o666), os.Rename(part, path)); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		what  string
		times int // that the file is read
		fails bool
		while func(path string, time int)
	}{
		{"nothing", 1, false, func(string, int) {}},
		{"another file", 1, true, func(path string, _ int) { replace(path, "other") }},
		{"the same bytes again", 2, false, func(path string, time int) {
			if time == 1 {
				replace(path, "take")
			}
		}},
		{"other bytes in the same file", 1, true, func(path string, _ int) { os.WriteFile(path, []byte("ekat"), 0o666) }},
		{"a link that leads out", 1, true, func(path string, _ int) {
			if err := errors.Join(os.Remove(path), os.Symlink(outside, path)); err != nil {
				t.Fatal(err)
			}
		}},
		// What was read in between may have been anything.
		{"a link that leads out, and the file back again", 2, false, func(path string, time int) {
			if time > 1 {
				return
			}
			aside := path + ".aside"
			if err := errors.Join(os.Rename(path, aside), os.Symlink(outside, path), os.Remove(path), os.Rename(aside, path)); err != nil {
				t.Fatal(err)
			}
		}},
		{"touched every time", steadyTries, true, func(path string, _ int) { replace(path, "take") }},
		{"gone", 1, true, func(path string, _ int) { os.Remove(path) }},
	} {
		s := locked(t, t.TempDir())
		path := sourceFile(t, "take")
		aWhileAgo := time.Now().Add(-time.Hour)
		if err := os.Chtimes(path, aWhileAgo, aWhileAgo); err != nil {
			t.Fatal(err)
		}
		id := mustHash(t, s, path)
		times := 0
		err := s.Steady(t.Context(), path, id, func(context.Context) error {
			times++
			c.while(path, times)
			return nil
		})
		if times != c.times {
			t.Errorf("%s: read %d times, want %d", c.what, times, c.times)
		}
		f, _ := errors.AsType[*fault.Fault](err)
		if c.fails != (err != nil) || c.fails && (f.Kind != fault.Media || f.Where != path || f.Hint == "") {
			t.Errorf("%s: %v", c.what, err)
		}
	}
}

// The reader's own error comes back, unless the file is not what it was: then
// that is the reason.
func TestSteadyTellsWhy(t *testing.T) {
	s := locked(t, t.TempDir())
	path := sourceFile(t, "take")
	id := mustHash(t, s, path)
	own := errors.New("damaged")
	if err := s.Steady(t.Context(), path, id, func(context.Context) error { return own }); err != own {
		t.Errorf("got %v", err)
	}
	err := s.Steady(t.Context(), path, id, func(context.Context) error {
		os.WriteFile(path, []byte("half a"), 0o666)
		return own
	})
	if !errors.Is(err, errChanged) {
		t.Errorf("got %v", err)
	}
	// And a file that was replaced before it is read at all.
	if err := s.Steady(t.Context(), path, id, func(context.Context) error { t.Error("it is read"); return nil }); !errors.Is(err, errChanged) {
		t.Errorf("got %v", err)
	}
	if err := s.Steady(t.Context(), filepath.Dir(path), id, nil); err == nil {
		t.Error("a folder is read")
	}
}
