package store

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"
)

// The test binary runs itself again as another process, told by these.
const (
	helperTask = "RIPIENO_STORE_TEST_TASK"
	helperDir  = "RIPIENO_STORE_TEST_DIR"
	helperStep = "RIPIENO_STORE_TEST_STEP"
)

func TestMain(m *testing.M) {
	switch os.Getenv(helperTask) {
	case "":
		os.Exit(m.Run())
	case "work":
		helperWork()
	case "hold":
		helperHold()
	}
}

// helper returns the command that runs one of the helper tasks.
func helper(t *testing.T, task, dir string, step int) *exec.Cmd {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.CommandContext(t.Context(), exe)
	cmd.Env = append(os.Environ(), helperTask+"="+task, helperDir+"="+dir, helperStep+"="+strconv.Itoa(step))
	cmd.Stderr = os.Stderr
	return cmd
}

// helperWork is one run over a small production: hash the take, make a chain
// of outputs, publish the last. It kills itself, as with kill -9, before the
// given change of the disk.
func helperWork() {
	stop, _ := strconv.Atoi(os.Getenv(helperStep))
	count := 0
	hook := func(string, string) error {
		if count++; count == stop {
			if self, err := os.FindProcess(os.Getpid()); err == nil {
				_ = self.Kill()
			}
			select {}
		}
		return nil
	}
	c := newClock()
	sys := realSystem()
	sys.now, sys.sync = c.now, noWait // killing a process does not lose what it wrote
	onEach(&sys, hook)
	if err := crashWork(context.Background(), os.Getenv(helperDir), sys, hook); err != nil {
		fmt.Fprintln(os.Stderr, "helper:", err)
		os.Exit(3) // not 1, which a process that is killed has on Windows
	}
	os.Exit(0)
}

// wasKilled reports whether a helper ended because it killed itself.
func wasKilled(err error) bool {
	exit := (*exec.ExitError)(nil)
	if !errors.As(err, &exit) {
		return false
	}
	if onWindows {
		return exit.ExitCode() == 1
	}
	return exit.ProcessState.String() == "signal: killed"
}

func crashWork(ctx context.Context, dir string, sys system, hook func(op, path string) error) error {
	s, err := open(filepath.Join(dir, "store"), sys)
	if err != nil {
		return err
	}
	defer s.Close()
	if err := s.Lock(ctx); err != nil {
		return err
	}
	hash, err := s.HashFile(ctx, filepath.Join(dir, "take"))
	if err != nil {
		return err
	}
	input := filepath.Join(dir, "take")
	var a Action
	for _, rule := range []string{"conform", "mix", "film"} {
		a = NewAction(rule).Input("before", hash).Ext(".bin")
		from := input
		if input, err = s.Put(ctx, a, func(tmp string) error {
			b, err := os.ReadFile(from)
			if err != nil {
				return err
			}
			// In two halves, so that a kill can leave half an output.
			if err := os.WriteFile(tmp, []byte(rule+" of "), 0o666); err != nil {
				return err
			}
			_ = hook("half", tmp)
			return appendFile(tmp, b)
		}); err != nil {
			return err
		}
		hash = a.ID()
	}
	_, err = s.Deliver(ctx, a, filepath.Join(dir, "out", "film.bin"))
	return err
}

// TestKillAnywhere kills a run with SIGKILL before each single change of the
// disk and runs it again: same final bytes as an undisturbed run, nothing left
// behind, and never half a file under a final name.
func TestKillAnywhere(t *testing.T) {
	const want = "film of mix of conform of take"
	kills := 0
	for step := 1; ; step++ {
		dir := t.TempDir()
		if err := os.WriteFile(filepath.Join(dir, "take"), []byte("take"), 0o666); err != nil {
			t.Fatal(err)
		}
		err := helper(t, "work", dir, step).Run()
		if err == nil {
			break // the run has fewer steps than this
		}
		if !wasKilled(err) {
			t.Fatalf("step %d: %v", step, err)
		}
		kills++
		film := filepath.Join(dir, "out", "film.bin")
		if b, err := os.ReadFile(film); err == nil && string(b) != want {
			t.Errorf("step %d: %q under the final name", step, b)
		}
		// The next run is in this process, undisturbed.
		sys := realSystem()
		sys.sync = noWait
		if err := crashWork(t.Context(), dir, sys, func(string, string) error { return nil }); err != nil {
			t.Fatalf("step %d: the next run: %v", step, err)
		}
		wantText(t, film, want)
		s := locked(t, filepath.Join(dir, "store"))
		if bad, err := s.Check(t.Context()); len(bad) > 0 || err != nil {
			t.Errorf("step %d: %v %v", step, bad, err)
		}
		if list, _ := s.List(t.Context()); len(list) != 3 {
			t.Errorf("step %d: %d entries", step, len(list))
		}
		wantSwept(t, s)
		if left := tree(t, filepath.Join(dir, "out")); strings.Count(left, "\n") != 1 {
			t.Errorf("step %d: left beside the film:\n%s", step, left)
		}
	}
	if kills < 40 {
		t.Errorf("killed at only %d points", kills)
	}
	t.Logf("killed at %d points", kills)
}

// helperHold takes the lock, says so, and holds it until its input ends.
func helperHold() {
	s, err := Open(os.Getenv(helperDir))
	if err == nil {
		err = s.Lock(context.Background())
	}
	if err != nil {
		fmt.Println("error:", err)
		os.Exit(1)
	}
	fmt.Println("locked")
	_, _ = os.Stdin.Read(make([]byte, 1))
	os.Exit(0) // without Close: the kernel gives the lock back
}

// TestLockBetweenProcesses: the second process is refused with the number of
// the first, or waits for it, whether that ends or is killed.
func TestLockBetweenProcesses(t *testing.T) {
	dir := t.TempDir()
	cmd := helper(t, "hold", dir, 0)
	stdin, err := cmd.StdinPipe()
	if err != nil {
		t.Fatal(err)
	}
	stdout, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	line := make([]byte, 64)
	if n, _ := stdout.Read(line); string(line[:n]) != "locked\n" {
		t.Fatalf("helper says %q", line[:n])
	}
	s, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	s.poll = time.Millisecond
	defer s.Close()
	pid := cmd.Process.Pid
	if err := s.Lock(t.Context()); err == nil ||
		!strings.Contains(err.Error(), fmt.Sprintf("in use by another run (process %d)", pid)) {
		t.Errorf("Lock: %v", err)
	}
	ctx, cancel := context.WithCancel(t.Context())
	err = s.LockWait(ctx, func(got int) {
		if got != pid {
			t.Errorf("waits for %d, want %d", got, pid)
		}
		cancel()
	})
	if !errors.Is(err, context.Canceled) {
		t.Errorf("cancelled wait: %v", err)
	}
	told := 0
	if err := s.LockWait(t.Context(), func(int) { told++; stdin.Close() }); err != nil || told != 1 {
		t.Errorf("LockWait: %v, told %d times", err, told)
	}
	if err := cmd.Wait(); err != nil {
		t.Error(err)
	}
}

func TestLockTwiceInOneProcess(t *testing.T) {
	dir := t.TempDir()
	first := locked(t, dir)
	if err := first.Lock(t.Context()); err != nil {
		t.Errorf("again: %v", err)
	}
	second, err := Open(dir)
	if err != nil {
		t.Fatal(err)
	}
	if err := second.Lock(t.Context()); err == nil {
		t.Error("two holders")
	}
	first.Close()
	if err := first.Close(); err != nil {
		t.Errorf("second Close: %v", err)
	}
	if err := second.Lock(t.Context()); err != nil {
		t.Errorf("after Close: %v", err)
	}
	second.Close()
}

// TestSweepLeavesOthersAlone: only the store's own leftovers go.
func TestSweepLeavesOthersAlone(t *testing.T) {
	dir := t.TempDir()
	s := locked(t, dir)
	a := NewAction("kept")
	mustPut(t, s, a, "kept")
	shard := s.shard(a.ID())
	orphan := strings.Repeat("0", 64) + ".mkv"
	for _, name := range []string{"tmp-123-456", orphan, "notes.txt"} {
		if err := os.WriteFile(filepath.Join(shard, name), []byte("x"), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	if err := os.MkdirAll(filepath.Join(shard, "tmp-99-1", "deep"), 0o777); err != nil {
		t.Fatal(err)
	}
	s.Close()
	locked(t, dir)
	var names []string
	list, _ := os.ReadDir(shard)
	for _, d := range list {
		names = append(names, d.Name())
	}
	want := []string{a.ID().String(), a.ID().String() + ".entry", "notes.txt"}
	if strings.Join(names, " ") != strings.Join(want, " ") {
		t.Errorf("left %v, want %v", names, want)
	}
}
