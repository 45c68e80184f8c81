package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"ripieno/assemble/fault"
)

// remembers reports whether the hash of path, as the file looks now, is known
// without reading it.
func remembers(t *testing.T, s *Store, path string) bool {
	t.Helper()
	m, err := statFile(path)
	if err != nil {
		t.Fatal(err)
	}
	_, ok := s.hashes.recall(path, m)
	return ok
}

func sourceFile(t *testing.T, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "take.mov")
	if err := os.WriteFile(path, []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
	return path
}

func mustHash(t *testing.T, s *Store, path string) ID {
	t.Helper()
	id, err := s.HashFile(t.Context(), path)
	if err != nil {
		t.Fatal(err)
	}
	return id
}

func TestHashFileRemembersAcrossRuns(t *testing.T) {
	c := newClock()
	withClock := func(sys *system) { sys.now = c.now }
	dir, path := t.TempDir(), sourceFile(t, "take")
	s := locked(t, dir, withClock)
	if got, want := mustHash(t, s, path), ID(sha256.Sum256([]byte("take"))); got != want {
		t.Errorf("hash %s, want %s", got, want)
	}
	s.Close()
	s = locked(t, dir, withClock)
	if !remembers(t, s, path) {
		t.Error("forgotten by the next run")
	}
	if id, size, ok := s.Remembered(path); !ok || size != 4 || id != ID(sha256.Sum256([]byte("take"))) {
		t.Errorf("remembered is %s, %d bytes, %v", id, size, ok)
	}
	if _, _, ok := s.Remembered(path + "2"); ok {
		t.Error("a file that was never hashed is remembered")
	}
	for name, change := range map[string]func() error{
		"content": func() error { return os.WriteFile(path, []byte("taKe"), 0o666) },
		"content with its time put back": func() error {
			st, err := os.Stat(path)
			return errors.Join(err, os.WriteFile(path, []byte("Take"), 0o666),
				os.Chtimes(path, st.ModTime(), st.ModTime()))
		},
		"another file in its place": func() error {
			return errors.Join(os.WriteFile(path+"2", []byte("tAke"), 0o666), os.Rename(path+"2", path))
		},
	} {
		before := mustHash(t, s, path)
		if err := change(); err != nil {
			t.Fatal(err)
		}
		if after := mustHash(t, s, path); after == before {
			t.Errorf("%s: the change was not seen", name)
		}
	}
	freed, err := s.Clean(t.Context())
	if err != nil || freed != (Freed{}) || remembers(t, s, path) {
		t.Errorf("Clean: %v %v", freed, err)
	}
}

// TestRacilyClean: a file that was changed a moment ago could change again
// without looking different, so its hash is not kept; nor is that of a file
// from the future, which a clock that was set back makes of every file.
func TestRacilyClean(t *testing.T) {
	path := sourceFile(t, "take")
	m, err := statFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		age  time.Duration
		keep bool
	}{{-time.Hour, false}, {0, false}, {settle - 1, false}, {settle, true}, {time.Hour, true}} {
		s := locked(t, t.TempDir(), func(sys *system) {
			sys.now = func() time.Time { return time.Unix(0, m.newest()).Add(tt.age) }
		})
		mustHash(t, s, path)
		if got := remembers(t, s, path); got != tt.keep {
			t.Errorf("age %v: remembered %v", tt.age, got)
		}
	}
}

func TestHashFileOfWhatIsNone(t *testing.T) {
	s := locked(t, t.TempDir())
	if _, err := s.HashFile(t.Context(), filepath.Join(s.Dir(), "missing")); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("missing: %v", err)
	}
	if _, err := s.HashFile(t.Context(), s.Dir()); !errors.Is(err, errNotRegular) {
		t.Errorf("folder: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.HashFile(ctx, sourceFile(t, "take")); !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled: %v", err)
	}
}

// growing appends to a file when its reader asks for the context's state.
type growing struct {
	context.Context
	grow func()
}

func (g growing) Err() error { g.grow(); return nil }

func TestHashFileWhileItIsCopied(t *testing.T) {
	s, path := locked(t, t.TempDir()), sourceFile(t, "take")
	ctx := growing{t.Context(), func() { _ = appendFile(path, []byte("more")) }}
	// Ends although the file grows with every read: reading stops at what is
	// there, and the second look tells.
	n := 0
	limited := growing{t.Context(), func() {
		if n++; n < 3 {
			ctx.grow()
		}
	}}
	_, err := s.HashFile(limited, path)
	var f *fault.Fault
	if !errors.As(err, &f) || f.Kind != fault.Media || !strings.Contains(f.What, "changed while it was read") {
		t.Errorf("got %v", err)
	}
}

// TestHashesFileDamage cuts and flips the memory: damaged lines are forgotten,
// whole ones are not, and writing goes on behind a torn line.
func TestHashesFileDamage(t *testing.T) {
	c := newClock()
	withClock := func(sys *system) { sys.now = c.now }
	dir := t.TempDir()
	first, second := sourceFile(t, "first"), sourceFile(t, "second")
	s := locked(t, dir, withClock)
	mustHash(t, s, first)
	mustHash(t, s, second)
	s.Close()
	file := filepath.Join(dir, hashesName)
	whole, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	for cut := range len(whole) {
		if cut%7 != 0 {
			continue // every cut is checked in the fuzz test's way; keep this one short
		}
		if err := os.WriteFile(file, whole[:cut], 0o666); err != nil {
			t.Fatal(err)
		}
		s := locked(t, dir, withClock)
		lines := bytes.Count(whole[:cut], []byte("\n"))
		if got := len(s.hashes.known); got < lines || got > lines+1 {
			t.Errorf("cut at %d: %d remembered of %d lines", cut, got, lines)
		}
		mustHash(t, s, first)
		mustHash(t, s, second)
		s.Close()
		s = locked(t, dir, withClock)
		if !remembers(t, s, first) || !remembers(t, s, second) {
			t.Errorf("cut at %d: not healed", cut)
		}
		s.Close()
	}
	flipped := bytes.Clone(whole)
	flipped[20] ^= 4
	if err := os.WriteFile(file, flipped, 0o666); err != nil {
		t.Fatal(err)
	}
	s = locked(t, dir, withClock)
	if remembers(t, s, first) || !remembers(t, s, second) {
		t.Error("flipped bit: the wrong line was forgotten")
	}
}

func TestHashesFileIsCompacted(t *testing.T) {
	dir := t.TempDir()
	s := locked(t, dir)
	for i := range 200 {
		s.hashes.remember(s.sys, remembered{Path: "/take", Mark: mark{Size: int64(i)}, Hash: ID{1}}, true)
	}
	s.Close()
	file := filepath.Join(dir, hashesName)
	before, _ := os.ReadFile(file)
	s = locked(t, dir)
	after, err := os.ReadFile(file)
	if err != nil || bytes.Count(before, []byte("\n")) != 200 || bytes.Count(after, []byte("\n")) != 1 {
		t.Errorf("%d lines became %d (%v)", bytes.Count(before, []byte("\n")), bytes.Count(after, []byte("\n")), err)
	}
	if id, ok := s.hashes.recall("/take", mark{Size: 199}); !ok || id != (ID{1}) {
		t.Error("the last line was lost")
	}
}

// TestHashesFileOnFullDisk: a line that was only half written costs that line.
func TestHashesFileOnFullDisk(t *testing.T) {
	c, full, dir := newClock(), false, t.TempDir()
	change := func(sys *system) {
		sys.now = c.now
		onEach(sys, func(op, _ string) error {
			if op == "append" && full {
				return syscall.ENOSPC
			}
			return nil
		})
	}
	first, second := sourceFile(t, "first"), sourceFile(t, "second")
	s := locked(t, dir, change)
	full = true
	mustHash(t, s, first) // no error: the hash is right, only forgotten
	full = false
	mustHash(t, s, second)
	s.Close()
	s = locked(t, dir, change)
	if remembers(t, s, first) || !remembers(t, s, second) {
		t.Errorf("remembered: %v", s.hashes.known)
	}
}
