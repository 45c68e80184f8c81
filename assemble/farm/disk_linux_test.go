package farm

import (
	"errors"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"syscall"
	"testing"
)

// smallDisk returns a folder on a disk of so many bytes.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		t.Skipf("small disks cannot be had here: %v", err)
	}
	t.Cleanup(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			t.Error(err)
		}
	})
	return dir
}

// TestAFullDisk of a worker, of the hub and of the home: the order comes home, nothing
// half-made is anywhere, and what fits is made elsewhere afterwards where there is a
// hub that still works.
func TestAFullDisk(t *testing.T) {
	t.Parallel()
	large := strings.Repeat("a picture ", 600_000) // 6 MB
	t.Run("of a worker", func(t *testing.T) {
		t.Parallel()
		hub := serveHere(t, t.TempDir())
		o := workers(double)
		o.Dir = filepath.Join(smallDisk(t, "4m"), "work")
		var full atomic.Int32
		o.Tell = func(text string) {
			if strings.Contains(text, "no space") {
				full.Add(1)
			}
		}
		workHere(t, hub.Workers, o)
		home := joinHere(t, hub.Home, 1)
		dst := filepath.Join(t.TempDir(), "out.txt")
		big, path := write(t, 1, large)
		if err := home.Make(t.Context(), big, []string{path}, dst); !errors.Is(err, errGivenUp) {
			t.Errorf("%v", err)
		}
		if full.Load() != tries {
			t.Errorf("%d times the worker said that its disk is full", full.Load())
		}
		var left []string
		for _, pattern := range []string{"order-*", "files/*"} {
			list, err := filepath.Glob(filepath.Join(o.Dir, pattern))
			if err != nil {
				t.Error(err)
			}
			left = append(left, list...)
		}
		if len(left) > 0 {
			t.Errorf("on the full disk lie %v", left)
		}
		if text, err := makeHere(t, home, 2); err != nil || text != "once once " {
			t.Errorf("what fits: %q, %v", text, err)
		}
	})
	t.Run("of the hub", func(t *testing.T) {
		t.Parallel()
		hub := serveHere(t, smallDisk(t, "4m"))
		workHere(t, hub.Workers, workers(double))
		home := joinHere(t, hub.Home, 1)
		dst := filepath.Join(t.TempDir(), "out.txt")
		big, path := write(t, 1, large)
		err := home.Make(t.Context(), big, []string{path}, dst)
		if err == nil {
			t.Error("what the hub has no room for was made elsewhere")
		}
		t.Log(err)
		if _, err := os.Stat(dst); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("there is a file: %v", err)
		}
	})
	t.Run("of the home", func(t *testing.T) {
		t.Parallel()
		hub := serveHere(t, t.TempDir())
		workHere(t, hub.Workers, workers(double))
		home := joinHere(t, hub.Home, 1)
		dst := filepath.Join(smallDisk(t, "4m"), "out.txt")
		big, path := write(t, 1, large)
		if err := home.Make(t.Context(), big, []string{path}, dst); !errors.Is(err, syscall.ENOSPC) {
			t.Errorf("%v", err)
		}
		if _, err := os.Stat(dst); !errors.Is(err, os.ErrNotExist) {
			t.Errorf("there is a file: %v", err)
		}
		if err := home.Make(t.Context(), big, []string{path}, filepath.Join(t.TempDir(), "out.txt")); err != nil {
			t.Errorf("where there is room: %v", err)
		}
	})
}
