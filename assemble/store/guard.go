package store

import (
	"context"
	"os"
	"path/filepath"
	"time"
)

// Guard waits until no other process, and nobody else in this one, holds the lock file
// at path, which is made when it is missing, and holds it until release is called. It is
// for short things such as reading a file and writing it anew; the lock goes with the
// process that held it. It fails when ctx ends before the lock is free, and where the
// disk refuses the file.
func Guard(ctx context.Context, path string) (release func(), err error) {
	sys := realSystem()
	dir := filepath.Dir(path)
	if err := sys.mkdir(dir); err != nil {
		return nil, DiskFault(dir, err)
	}
	if err := sys.private(dir, 0o700); err != nil {
		return nil, DiskFault(dir, err)
	}
	const poll = 10 * time.Millisecond
	for {
		f, err := os.OpenFile(path, os.O_CREATE|os.O_RDWR, 0o600)
		if err != nil {
			return nil, DiskFault(path, err)
		}
		taken, err := flock(f)
		if err == nil && !taken && samePath(f, path) {
			return func() { f.Close() }, nil // the kernel drops the lock with the last handle
		}
		f.Close()
		if err != nil {
			return nil, DiskFault(path, err)
		}
		t := time.NewTimer(poll)
		select {
		case <-ctx.Done():
			t.Stop()
			return nil, ctx.Err()
		case <-t.C:
		}
	}
}
