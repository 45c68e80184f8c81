package store

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"ripieno/assemble/fault"
)

const lockName = "lock"

// Lock makes this process the only one that writes to the store, until
// [Store.Close]. When another one holds the lock it returns a fault that names
// the other's process number. It sweeps what killed runs left behind.
func (s *Store) Lock(ctx context.Context) error {
	ok, pid, err := s.tryLock()
	if err != nil {
		return DiskFault(s.dir, err)
	}
	if !ok {
		who := "another run"
		if pid > 0 {
			who = fmt.Sprintf("another run (process %d)", pid)
		}
		return fault.New(fault.Failed, s.dir, "in use by "+who,
			"wait until that run has finished, or stop it")
	}
	return s.afterLock(ctx)
}

// LockWait is [Store.Lock] that waits until the other run has finished or ctx ends.
// waiting, when not nil, is told once whom it waits for; 0 is unknown. It fails with
// ctx's error, and where the disk refuses the lock.
func (s *Store) LockWait(ctx context.Context, waiting func(pid int)) error {
	for {
		if err := ctx.Err(); err != nil {
			return err
		}
		ok, pid, err := s.tryLock()
		if err != nil {
			return DiskFault(s.dir, err)
		}
		if ok {
			return s.afterLock(ctx)
		}
		if waiting != nil {
			waiting(pid)
			waiting = nil
		}
		// Asking again and again instead of one blocking flock: that one
		// could not be called off.
		t := time.NewTimer(s.poll)
		select {
		case <-ctx.Done():
			t.Stop()
			return ctx.Err()
		case <-t.C:
		}
	}
}

// tryLock takes the lock, or says who has it.
func (s *Store) tryLock() (ok bool, pid int, err error) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.lock != nil {
		return true, os.Getpid(), nil
	}
	if err := s.sys.mkdir(s.dir); err != nil { // deleted since Open
		return false, 0, err
	}
	if err := s.sys.private(s.dir, 0o700); err != nil {
		return false, 0, err
	}
	path := filepath.Join(s.dir, lockName)
	// Go opens files close-on-exec, so a child that outlives a killed run
	// does not keep the lock.
	f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
	if err != nil {
		return false, 0, err
	}
	taken, err := flock(f)
	// The lock belongs to the open file, so a second Store of this process is
	// kept out like any other.
	if taken {
		defer f.Close()
		return false, readPID(f), nil
	}
	if err != nil {
		f.Close()
		return false, 0, fmt.Errorf("store: lock %s: %w", path, err)
	}
	// Somebody may have deleted the folder between opening and locking; a
	// lock on a deleted file keeps nobody out.
	if !samePath(f, path) {
		f.Close()
		return false, 0, nil
	}
	// The number only serves the message of others, so failing to write it
	// (the disk may be full) does not matter.
	_ = f.Truncate(0)
	_, _ = f.WriteAt([]byte(strconv.Itoa(os.Getpid())+"\n"), 0)
	s.lock = f
	return true, os.Getpid(), nil
}

// readPID returns the process that has written itself into a lock, 0 when the file
// holds none.
func readPID(f *os.File) int {
	b, _ := io.ReadAll(io.LimitReader(f, 32))
	pid, err := strconv.Atoi(strings.TrimSpace(string(b)))
	if err != nil || pid < 0 {
		return 0
	}
	return pid
}

// samePath reports whether an open file is still the one at a path.
func samePath(f *os.File, path string) bool {
	a, err1 := f.Stat()
	b, err2 := os.Stat(path)
	return err1 == nil && err2 == nil && os.SameFile(a, b)
}

// afterLock does, once, what only the holder of the lock may do: sweep away what killed runs
// left, and tidy the memory of hashes.
func (s *Store) afterLock(ctx context.Context) error {
	if err := s.sweep(ctx); err != nil {
		_ = s.Close()
		return DiskFault(s.dir, err)
	}
	s.hashes.compact(s.sys)
	return nil
}
