package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"
)

// clock is a clock that only tests move.
type clock struct {
	mu sync.Mutex
	t  time.Time
}

// newClock starts an hour ahead of the machine, so that files made by the
// test count as having been at rest for long.
func newClock() *clock { return &clock{t: time.Now().Add(time.Hour)} }

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

func (c *clock) add(d time.Duration) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = c.t.Add(d)
}

// locked opens and locks a store in dir. Waiting for the disk is left out: it
// only matters when the power fails, and makes the tests ten times as slow.
func locked(t testing.TB, dir string, change ...func(*system)) *Store {
	t.Helper()
	sys := realSystem()
	sys.sync = noWait
	for _, f := range change {
		f(&sys)
	}
	s, err := open(dir, sys)
	if err != nil {
		t.Fatal(err)
	}
	if err := s.Lock(t.Context()); err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close() })
	return s
}

// onWindows is where some things that tests do to a store cannot be done.
const onWindows = runtime.GOOS == "windows"

// skipOnWindows leaves out what only other systems can do.
func skipOnWindows(t *testing.T, why string) {
	t.Helper()
	if onWindows {
		t.Skip("on Windows " + why)
	}
}

// Links need a right on Windows that few have, and Wine 8 makes some that lead nowhere.
const noLinks = "links are not made by everybody"

// noWait stands in for fsync: it only wants the path to be there.
func noWait(path string) error {
	_, err := os.Stat(path)
	return err
}

// writes returns a make function that writes text and counts its calls.
func writes(text string, calls *atomic.Int64) func(string) error {
	return func(tmp string) error {
		if calls != nil {
			calls.Add(1)
		}
		return os.WriteFile(tmp, []byte(text), 0o666)
	}
}

func mustPut(t testing.TB, s *Store, a Action, text string) string {
	t.Helper()
	path, err := s.Put(t.Context(), a, writes(text, nil))
	if err != nil {
		t.Fatal(err)
	}
	return path
}

func wantText(t testing.TB, path, want string) {
	t.Helper()
	got, err := os.ReadFile(path)
	if err != nil || string(got) != want {
		t.Errorf("%s holds %q, %v; want %q", filepath.Base(path), got, err, want)
	}
}

// tree lists every file below dir with its size and modification time, but for
// the lock: that one tells who holds it and changes in every run.
func tree(t testing.TB, dir string) string {
	t.Helper()
	var b strings.Builder
	err := filepath.Walk(dir, func(path string, info os.FileInfo, err error) error {
		if err == nil && info.Mode().IsRegular() && info.Name() != lockName {
			fmt.Fprintln(&b, filepath.ToSlash(strings.TrimPrefix(path, dir)), info.Size(), info.ModTime().UnixNano())
		}
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestPutThenGet(t *testing.T) {
	s := locked(t, t.TempDir())
	a := NewAction("conform").Arg("size", 960).Ext(".mkv")
	if _, why := s.Get(t.Context(), a); !errors.Is(why, NotMade) {
		t.Fatalf("empty store: %v", why)
	}
	var calls atomic.Int64
	for range 3 {
		path, err := s.Put(t.Context(), a, writes("picture", &calls))
		if err != nil {
			t.Fatal(err)
		}
		if filepath.Ext(path) != ".mkv" {
			t.Errorf("%s has lost its extension", path)
		}
		wantText(t, path, "picture")
	}
	if calls.Load() != 1 {
		t.Errorf("made %d times", calls.Load())
	}
	again, err := Open(s.Dir()) // another process that only looks
	if err != nil {
		t.Fatal(err)
	}
	path, err := again.Get(t.Context(), a)
	if err != nil {
		t.Fatal(err)
	}
	wantText(t, path, "picture")
}

func TestPutFolder(t *testing.T) {
	name := "a [strange] na*me"
	if onWindows { // no name has a star there
		name = "a [strange] n%a%me"
	}
	dir := filepath.Join(t.TempDir(), name)
	s := locked(t, dir)
	a := NewAction("strips").Files("left.wav", "facts.json")
	path, err := s.Put(t.Context(), a, func(tmp string) error {
		return errors.Join(
			os.WriteFile(filepath.Join(tmp, "left.wav"), []byte("L"), 0o666),
			os.WriteFile(filepath.Join(tmp, "facts.json"), []byte("{}"), 0o666))
	})
	if err != nil {
		t.Fatal(err)
	}
	wantText(t, filepath.Join(path, "left.wav"), "L")
	if err := os.WriteFile(filepath.Join(path, "facts.json"), []byte("[]"), 0o666); err != nil {
		t.Fatal(err)
	}
	if _, why := s.Get(t.Context(), a); why == nil || why.Error() != "its output is not what was stored" {
		t.Errorf("changed file: %v", why)
	}
	if err := s.Remove(a.ID()); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(path); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("folder is still there: %v", err)
	}
}

func TestPutRefuses(t *testing.T) {
	s := locked(t, t.TempDir())
	file := NewAction("rule").Ext(".bin")
	folder := NewAction("rule").Files("a")
	outside := filepath.Join(t.TempDir(), "elsewhere")
	if err := os.WriteFile(outside, []byte("x"), 0o666); err != nil {
		t.Fatal(err)
	}
	boom := errors.New("boom")
	for _, tt := range []struct {
		name string
		a    Action
		make func(tmp string) error
		want string
	}{
		{"make fails", file, func(tmp string) error { os.WriteFile(tmp, []byte("half"), 0o666); return boom }, "boom"},
		{"nothing", file, func(string) error { return nil }, "left no output"},
		{"empty", file, func(tmp string) error { return os.WriteFile(tmp, nil, 0o666) }, "empty output"},
		{"link", file, func(tmp string) error { return os.Symlink(outside, tmp) }, "not a regular file"},
		{"folder instead of file", file, func(tmp string) error { return os.Mkdir(tmp, 0o777) }, "not a regular file"},
		{"undeclared", folder, func(tmp string) error {
			os.WriteFile(filepath.Join(tmp, "a"), []byte("x"), 0o666)
			return os.WriteFile(filepath.Join(tmp, "b"), []byte("x"), 0o666)
		}, `left "b", which is none of a`},
		{"missing of several", folder, func(string) error { return nil }, "left no output"},
		{"no input hash", NewAction("rule").Input("take", ID{}), func(string) error { return nil }, "has no hash"},
		{"zero action", Action{}, func(string) error { return nil }, "empty action"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			if tt.name == "link" {
				skipOnWindows(t, noLinks)
			}
			_, err := s.Put(t.Context(), tt.a, tt.make)
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Fatalf("got %v, want %q", err, tt.want)
			}
			if _, err := s.Get(t.Context(), tt.a); err == nil {
				t.Error("it was stored all the same")
			}
			if left := tree(t, s.Dir()); strings.Contains(left, tempPrefix) {
				t.Errorf("scratch left behind:\n%s", left)
			}
		})
	}
}

func TestPutNeedsTheLock(t *testing.T) {
	s, err := Open(t.TempDir())
	if err != nil {
		t.Fatal(err)
	}
	a := NewAction("rule")
	if _, err := s.Put(t.Context(), a, writes("x", nil)); err == nil ||
		!strings.Contains(err.Error(), "without its lock") {
		t.Errorf("Put: %v", err)
	}
	for name, err := range map[string]error{
		"Remove": s.Remove(a.ID()),
		"Trim":   second(s.Trim(t.Context(), 0)),
		"Clean":  second(s.Clean(t.Context())),
	} {
		if err == nil {
			t.Errorf("%s worked without the lock", name)
		}
	}
}

func second[A any](_ A, err error) error { return err }

// TestNothingChangedWritesNothing holds the promise of a warm run.
func TestNothingChangedWritesNothing(t *testing.T) {
	dir := t.TempDir()
	var actions []Action
	s := locked(t, dir)
	for i := range 20 {
		a := NewAction("conform").Arg("i", i)
		actions = append(actions, a)
		mustPut(t, s, a, "x")
	}
	s.Close()
	warm := func() {
		s := locked(t, dir)
		for _, a := range actions {
			if _, err := s.Put(t.Context(), a, func(string) error { return errors.New("must not run") }); err != nil {
				t.Fatal(err)
			}
		}
		s.Close()
	}
	before := tree(t, dir)
	warm()
	if after := tree(t, dir); before != after {
		t.Errorf("a warm run wrote:\n%s\n%s", before, after)
	}
}

func TestClockSetBack(t *testing.T) {
	c := newClock()
	dir := t.TempDir()
	s := locked(t, dir, func(sys *system) { sys.now = c.now })
	a := NewAction("rule")
	mustPut(t, s, a, "x")
	c.add(-365 * 24 * time.Hour)
	if _, why := s.Get(t.Context(), a); why != nil {
		t.Fatal(why)
	}
	list, err := s.List(t.Context())
	if err != nil || len(list) != 1 || !list[0].Used.Equal(c.now()) {
		t.Errorf("last use %v, want %v (%v)", list, c.now(), err)
	}
	mustPut(t, s, NewAction("rule").Version(2), "y")
}

func TestCancelledNeverStores(t *testing.T) {
	s := locked(t, t.TempDir())
	for name, ret := range map[string]error{"make notices": context.Canceled,
		"make fails otherwise": errors.New("signal: interrupt"), "make returns nil": nil} {
		t.Run(name, func(t *testing.T) {
			a := NewAction(name)
			ctx, cancel := context.WithCancel(t.Context())
			_, err := s.Put(ctx, a, func(tmp string) error {
				os.WriteFile(tmp, []byte("playable but half"), 0o666)
				cancel()
				return ret
			})
			if !errors.Is(err, context.Canceled) {
				t.Errorf("got %v", err)
			}
			if _, err := s.Get(t.Context(), a); err == nil {
				t.Error("stored")
			}
		})
	}
	ctx, cancel := context.WithCancel(t.Context())
	cancel()
	if _, err := s.Put(ctx, NewAction("late"), func(string) error { t.Error("ran"); return nil }); !errors.Is(err,
		context.Canceled) {
		t.Errorf("got %v", err)
	}
}

func TestCompareFindsMissingIngredient(t *testing.T) {
	s := locked(t, t.TempDir())
	a := NewAction("encode").For("final").Ext(".mp4")
	mustPut(t, s, a, "with 2 threads")
	if err := s.Compare(t.Context(), a, writes("with 2 threads", nil)); err != nil {
		t.Errorf("same bytes: %v", err)
	}
	err := s.Compare(t.Context(), a, writes("with 8 threads", nil))
	var d *Difference
	if !errors.As(err, &d) || !strings.Contains(err.Error(), "encode of final") {
		t.Errorf("other bytes: %v", err)
	}
	path, _ := s.Get(t.Context(), a)
	wantText(t, path, "with 2 threads")
	if err := s.Compare(t.Context(), a.Version(2), writes("x", nil)); err == nil || errors.As(err, &d) {
		t.Errorf("nothing stored: %v", err)
	}
}

// Of what is known to differ every time the rest is compared.
func TestCompareLeavesOutWhatVaries(t *testing.T) {
	s := locked(t, t.TempDir())
	both := func(film, copies string) func(string) error {
		return func(tmp string) error {
			return errors.Join(os.WriteFile(filepath.Join(tmp, "film"), []byte(film), 0o666),
				os.WriteFile(filepath.Join(tmp, "copies"), []byte(copies), 0o666))
		}
	}
	steady := NewAction("segment").Files("film", "copies")
	varying := steady.Varying("film")
	if steady.ID() != varying.ID() || steady.Varies() || !varying.Varies() {
		t.Error("whether bytes vary is part of the key, or not known")
	}
	if _, err := s.Put(t.Context(), varying, both("a", "b")); err != nil {
		t.Fatal(err)
	}
	if err := s.Compare(t.Context(), varying, both("other", "b")); err != nil {
		t.Errorf("what varies: %v", err)
	}
	var d *Difference
	if err := s.Compare(t.Context(), varying, both("other", "other")); !errors.As(err, &d) || d.File != "copies" {
		t.Errorf("the rest: %v", err)
	}
	if err := s.Compare(t.Context(), steady, both("other", "b")); !errors.As(err, &d) || d.File != "film" {
		t.Errorf("what does not vary: %v", err)
	}
}
