package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"ripieno/assemble/fault"
)

// onEach calls hook before every change of the disk; an error it returns is
// what the disk answers.
func onEach(sys *system, hook func(op, path string) error) {
	old := *sys
	sys.mkdir = func(p string) error { return firstError(hook("mkdir", p), func() error { return old.mkdir(p) }) }
	sys.scratch = func(dir, pattern string) (string, error) {
		if err := hook("scratch", dir); err != nil {
			return "", err
		}
		return old.scratch(dir, pattern)
	}
	sys.write = func(p string, b []byte) error {
		if err := hook("write", p); err != nil {
			_ = old.write(p, b[:len(b)/2]) // a full disk takes what still fits
			return err
		}
		return old.write(p, b)
	}
	sys.appendTo = func(p string, b []byte) error {
		if err := hook("append", p); err != nil {
			_ = old.appendTo(p, b[:len(b)/2])
			return err
		}
		return old.appendTo(p, b)
	}
	sys.sync = func(p string) error { return firstError(hook("sync", p), func() error { return old.sync(p) }) }
	sys.rename = func(a, b string) error {
		return firstError(hook("rename", b), func() error { return old.rename(a, b) })
	}
	sys.remove = func(p string) error { return firstError(hook("remove", p), func() error { return old.remove(p) }) }
	sys.touch = func(p string, at time.Time) error {
		return firstError(hook("touch", p), func() error { return old.touch(p, at) })
	}
}

func firstError(err error, then func() error) error {
	if err != nil {
		return err
	}
	return then()
}

// TestEveryStepFails lets every single step of storing fail once, in turn, for
// lack of space and for a broken disk. Whatever happens: what was stored
// stays, nothing wrong is served, the error tells a person what to do, and the
// next try succeeds.
func TestEveryStepFails(t *testing.T) {
	for _, refusal := range []struct {
		err  error
		want string
	}{
		{syscall.ENOSPC, "cannot be written: no space left on device"},
		{syscall.EIO, "input/output error"},
	} {
		steps := 0
		for step := 1; step <= steps+1; step++ { // one more, in which nothing fails
			count := 0
			t.Run(fmt.Sprintf("%v/%d", refusal.err, step), func(t *testing.T) {
				count = failingStep(t, step, refusal.err, refusal.want)
			})
			steps = max(steps, count)
		}
		// scratch, folder, 3 syncs, 2 removes, rename, scratch, write, sync,
		// rename, sync, and the removing of both scratch folders
		if steps < 12 {
			t.Errorf("only %d steps were tried", steps)
		}
	}
}

// failingStep stores an output with the given change of the disk refused, and
// returns how many changes there were.
func failingStep(t *testing.T, step int, refusal error, want string) (count int) {
	armed, hit := false, ""
	s := locked(t, t.TempDir(), func(sys *system) {
		onEach(sys, func(op, path string) error {
			if !armed {
				return nil
			}
			if count++; count == step {
				hit = op + " " + filepath.Base(path)
				return &os.PathError{Op: op, Path: path, Err: refusal}
			}
			return nil
		})
	})
	kept, a := NewAction("kept").Ext(".bin"), NewAction("new").Files("a", "b")
	mustPut(t, s, kept, "kept")
	make := func(tmp string) error {
		return errors.Join(
			os.WriteFile(filepath.Join(tmp, "a"), []byte("first"), 0o666),
			os.WriteFile(filepath.Join(tmp, "b"), []byte("second"), 0o666))
	}
	armed = true
	_, err := s.Put(t.Context(), a, make)
	armed = false
	if err != nil && !strings.Contains(err.Error(), want) {
		t.Errorf("%s: error %v", hit, err)
	}
	if full := refusal == syscall.ENOSPC; err != nil && full {
		if f := (*fault.Fault)(nil); !errors.As(err, &f) || f.Kind != fault.Failed || f.Hint == "" || !IsNoSpace(err) {
			t.Errorf("%s: not a fault with a hint: %#v", hit, err)
		}
	} else if IsNoSpace(err) {
		t.Errorf("%s: taken for a full disk: %v", hit, err)
	}
	if path, err := s.Get(t.Context(), a); err == nil {
		wantText(t, filepath.Join(path, "a"), "first")
		wantText(t, filepath.Join(path, "b"), "second")
	}
	wantText(t, mustPut(t, s, kept, "must not run"), "kept")
	path, err := s.Put(t.Context(), a, make)
	if err != nil {
		t.Fatalf("%s: the next try failed: %v", hit, err)
	}
	wantText(t, filepath.Join(path, "b"), "second")
	if bad, err := s.Check(t.Context()); len(bad) > 0 || err != nil {
		t.Errorf("%s: damaged: %v %v", hit, bad, err)
	}
	wantSwept(t, s)
	return count
}

// wantSwept takes the lock anew and wants nothing but finished entries.
func wantSwept(t *testing.T, s *Store) {
	t.Helper()
	s.Close()
	again := locked(t, s.Dir())
	defer again.Close()
	for line := range strings.Lines(tree(t, again.Dir())) {
		name := strings.TrimPrefix(line, "/")
		if !strings.HasPrefix(name, hashesName) && (strings.Contains(name, tempPrefix) ||
			!strings.Contains(name[2:], "/"+name[:2])) {
			t.Errorf("left behind: %s", line)
		}
	}
}

// TestToolOnFullDisk: ffmpeg on a full disk fails with a message of its own,
// or leaves a short file. The free space tells.
func TestToolOnFullDisk(t *testing.T) {
	free := int64(10)
	s := locked(t, t.TempDir(), func(sys *system) {
		sys.freeBytes = func(string) (int64, error) { return free, nil }
	})
	strange := errors.New("exit status 1: muxing failed")
	_, err := s.Put(t.Context(), NewAction("rule"), func(string) error { return strange })
	if !IsNoSpace(err) || !errors.Is(err, strange) ||
		!strings.HasSuffix(fault.Format(err), "no space left on the disk: exit status 1: muxing failed\n  hint: "+
			noSpaceHint) {
		t.Errorf("failing tool: %s", fault.Format(err))
	}
	_, err = s.Put(t.Context(), NewAction("rule"), func(tmp string) error { return os.WriteFile(tmp, nil, 0o666) })
	if !IsNoSpace(err) {
		t.Errorf("empty file: %v", err)
	}
	free = 1 << 40
	if _, err = s.Put(t.Context(), NewAction("rule"), func(string) error { return strange }); err != strange {
		t.Errorf("enough space: %v", err)
	}
}

// TestDeviceThatIsFull writes to the device that is always full.
func TestDeviceThatIsFull(t *testing.T) {
	skipOnWindows(t, "the device has no name, but under Wine it has")
	if _, err := os.Stat("/dev/full"); err != nil {
		t.Skip("only Linux has /dev/full")
	}
	s := locked(t, t.TempDir())
	_, err := s.Put(t.Context(), NewAction("rule"), func(string) error { return appendFile("/dev/full", []byte("x")) })
	want := s.Dir() + ": cannot be written: no space left on device\n  hint: " + noSpaceHint
	if got := fault.Format(err); got != want || !IsNoSpace(err) {
		t.Errorf("got %s\nwant %s", got, want)
	}
}

func TestDiskFault(t *testing.T) {
	for _, tt := range []struct {
		err  error
		full bool
		want string
	}{
		{syscall.ENOSPC, true, "films/a.mp4: cannot be written: no space left on device"},
		{syscall.EDQUOT, true, "films/a.mp4: cannot be written: disk quota exceeded"},
		{syscall.EROFS, false, "films/a.mp4: cannot be written: read-only file system"},
		{syscall.EACCES, false, "films/a.mp4: cannot be written: permission denied"},
	} {
		err := DiskFault("films/a.mp4", &os.PathError{Op: "open", Path: "films/a.mp4", Err: tt.err})
		var f *fault.Fault
		if !errors.As(err, &f) || f.Error() != tt.want || f.Kind != fault.Failed || f.Hint == "" ||
			!errors.Is(err, tt.err) {
			t.Errorf("%v: %#v", tt.err, err)
		}
		if IsNoSpace(err) != tt.full {
			t.Errorf("IsNoSpace(%v) = %v", err, !tt.full)
		}
	}
}

func TestDiskFaultLeavesOthersAlone(t *testing.T) {
	own := fault.New(fault.Media, "x", "y", "z").Because(syscall.ENOSPC)
	for _, err := range []error{nil, errors.New("other"), context.Canceled, own} {
		if got := DiskFault("here", err); got != err {
			t.Errorf("%v became %v", err, got)
		}
	}
}

func TestOpenInImpossiblePlace(t *testing.T) {
	file := filepath.Join(t.TempDir(), "file")
	if err := os.WriteFile(file, nil, 0o666); err != nil {
		t.Fatal(err)
	}
	if _, err := Open(filepath.Join(file, "store")); err == nil {
		t.Error("opened below a file")
	}
}
