package store

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"ripieno/assemble/fault"
)

// TestSteady reads a file while something is done to it. Windows lets nobody take
// the place of a file that is open, so there nothing happens to it but what happens
// within.
func TestSteady(t *testing.T) {
	outside := sourceFile(t, "outside")
	fixed := runtime.GOOS == "windows"
	done := func(err error) {
		if (err != nil) != fixed {
			t.Fatalf("something takes the place of a file that is open: %v", err)
		}
	}
	replace := func(path, text string) {
		part := path + ".part"
		if err := os.WriteFile(part, []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
		done(os.Rename(part, path))
	}
	for _, c := range []struct {
		what  string
		times int // that the file is read
		fails bool
		// within says that what is done stays within the file.
		within bool
		while  func(path string, time int)
	}{
		{"nothing", 1, false, true, func(string, int) {}},
		{"another file", 1, true, false, func(path string, _ int) { replace(path, "other") }},
		{"the same bytes again", 2, false, false, func(path string, time int) {
			if time == 1 {
				replace(path, "take")
			}
		}},
		{"other bytes in the same file", 1, true, true, func(path string, _ int) { os.WriteFile(path, []byte("ekat"), 0o666) }},
		{"a link that leads out", 1, true, false, func(path string, _ int) {
			done(errors.Join(os.Remove(path), os.Symlink(outside, path)))
		}},
		// What was read in between may have been anything.
		{"a link that leads out, and the file back again", 2, false, false, func(path string, time int) {
			if time > 1 {
				return
			}
			aside := path + ".aside"
			done(errors.Join(os.Rename(path, aside), os.Symlink(outside, path), os.Remove(path), os.Rename(aside, path)))
		}},
		{"touched every time", steadyTries, true, false, func(path string, _ int) { replace(path, "take") }},
		{"gone", 1, true, false, func(path string, _ int) { os.Remove(path) }},
	} {
		s := locked(t, t.TempDir())
		path := sourceFile(t, "take")
		aWhileAgo := time.Now().Add(-time.Hour)
		if err := os.Chtimes(path, aWhileAgo, aWhileAgo); err != nil {
			t.Fatal(err)
		}
		id := mustHash(t, s, path)
		if fixed && !c.within {
			c.times, c.fails = 1, false
		}
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
