package cli_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/rogpeppe/go-internal/testscript"
)

// What only Linux can do: a disk of our own, and looking at processes.
func init() {
	troubles["interrupt"] = interrupt
	troubles["smalldisk"] = smallDisk
	troubles["fill"] = fill
	conditions["mount"] = mayMount
}

// mayMount reports whether a disk in memory can be mounted, which takes root.
func mayMount() bool {
	dir, err := os.MkdirTemp("", "mount")
	if err != nil {
		return false
	}
	defer os.Remove(dir)
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=64k"); err != nil {
		return false
	}
	return syscall.Unmount(dir, 0) == nil
}

// interrupt sends SIGINT as soon as a stage begins: interrupt STAGE COMMAND. It
// checks the exit code, that no child is left, and that nothing half-made has
// a final name.
func interrupt(ts *testscript.TestScript, neg bool, args []string) {
	stage := args[0]
	cmd := command(ts, append(args[1:len(args):len(args)], "--progress", "json"))
	errs, err := cmd.StderrPipe()
	ts.Check(err)
	ts.Check(cmd.Start())
	sent := false
	var log bytes.Buffer
	for lines := bufio.NewScanner(errs); lines.Scan(); {
		fmt.Fprintln(&log, lines.Text())
		var event struct{ Event, Stage string }
		if json.Unmarshal(lines.Bytes(), &event) == nil && event.Event == "start" && event.Stage == stage && !sent {
			ts.Check(cmd.Process.Signal(syscall.SIGINT))
			sent = true
		}
	}
	cmd.Wait()
	if !sent {
		ts.Fatalf("stage %q never began:\n%s", stage, log.String())
	}
	if code := cmd.ProcessState.ExitCode(); code != 130 {
		ts.Fatalf("interrupted in %q the exit code is %d, want 130\n%s", stage, code, log.String())
	}
	if left := childrenIn(ts.MkAbs(".")); len(left) > 0 {
		ts.Fatalf("interrupted in %q, still running: %v", stage, left)
	}
	partial, _ := filepath.Glob(ts.MkAbs("out/*"))
	hidden, _ := filepath.Glob(ts.MkAbs("out/.*.part*"))
	if len(partial)+len(hidden) > 0 {
		ts.Fatalf("interrupted in %q, left behind: %v %v", stage, partial, hidden)
	}
}

// childrenIn lists processes whose arguments name a folder.
func childrenIn(dir string) []string {
	var found []string
	list, _ := filepath.Glob("/proc/[0-9]*/cmdline")
	for _, f := range list {
		if data, err := os.ReadFile(f); err == nil && strings.Contains(string(data), "ffmpeg") &&
			strings.Contains(string(data), dir) {
			found = append(found, strings.ReplaceAll(string(data), "\x00", " "))
		}
	}
	return found
}

// smallDisk mounts a disk of its own in memory: smalldisk DIR.
func smallDisk(ts *testscript.TestScript, neg bool, args []string) {
	dir := ts.MkAbs(args[0])
	ts.Check(os.MkdirAll(dir, 0o777))
	ts.Check(syscall.Mount("tmpfs", dir, "tmpfs", 0, "size=64m"))
	ts.Defer(func() {
		if err := syscall.Unmount(dir, syscall.MNT_DETACH); err != nil {
			ts.Logf("unmount: %v", err)
		}
	})
}

// fill leaves so many kilobytes free on a disk: fill DIR KB.
func fill(ts *testscript.TestScript, neg bool, args []string) {
	dir := ts.MkAbs(args[0])
	var free int64
	_, err := fmt.Sscan(args[1], &free)
	ts.Check(err)
	ballast := filepath.Join(dir, "ballast")
	os.Remove(ballast)
	var st syscall.Statfs_t
	ts.Check(syscall.Statfs(dir, &st))
	size := int64(st.Bavail)*int64(st.Bsize) - free*1024
	if size < 0 {
		ts.Fatalf("%d KB are not free", free)
	}
	ts.Check(os.WriteFile(ballast, make([]byte, size), 0o666))
}
