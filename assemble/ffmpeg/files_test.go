//go:build unix

package ffmpeg

import (
	"os/exec"
	"strconv"
	"strings"
	"syscall"
	"testing"
)

// TestRaiseFileLimit: with few open files allowed, a child may open as many as
// the system allows, which Go alone does not arrange.
func TestRaiseFileLimit(t *testing.T) {
	var before syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &before); err != nil {
		t.Fatal(err)
	}
	if before.Max < 512 {
		t.Skipf("the system allows %d files", before.Max)
	}
	t.Cleanup(func() { syscall.Setrlimit(syscall.RLIMIT_NOFILE, &before) }) //nolint:errcheck // as it was
	low := before
	low.Cur = 256
	if err := syscall.Setrlimit(syscall.RLIMIT_NOFILE, &low); err != nil {
		t.Fatal(err)
	}
	child := func() uint64 {
		out, err := exec.Command("sh", "-c", "ulimit -n").Output()
		if err != nil {
			t.Fatal(err)
		}
		n, err := strconv.ParseUint(strings.TrimSpace(string(out)), 10, 64)
		if err != nil { // "unlimited"
			return 1 << 63
		}
		return n
	}
	if got := child(); got != 256 {
		t.Fatalf("a child may open %d files before, want 256", got)
	}
	n, err := RaiseFileLimit()
	if err != nil || n != uint64(before.Max) {
		t.Errorf("raised to %d, %v, want %d", n, err, before.Max)
	}
	if got := child(); got < n {
		t.Errorf("a child may open %d files, want %d", got, n)
	}
}
