package store

import (
	"context"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"sync/atomic"
)

// published numbers the temporary files of this process.
var published atomic.Int64

// Publish writes the file at path whole or not at all: make writes to tmp, a
// path beside the target with the same extension that does not exist yet; the
// result is synced and renamed over the target. When make fails or ctx has
// ended, the target stays as it was. Leftovers of killed runs that were
// publishing the same file are removed. What the disk refuses is a fault.
func Publish(ctx context.Context, path string, make func(tmp string) error) error {
	return publish(ctx, realSystem(), path, make)
}

// publish has make write a file beside path and renames it to path once it is whole
// and on the disk.
func publish(ctx context.Context, sys system, path string, make func(tmp string) error) (err error) {
	if err := ctx.Err(); err != nil {
		return err
	}
	dir, ext := filepath.Dir(path), filepath.Ext(path)
	stem := "." + strings.TrimSuffix(filepath.Base(path), ext) + "."
	if err := sys.mkdir(dir); err != nil {
		return DiskFault(path, err)
	}
	sweepPublished(sys, dir, stem, ext)
	tmp := filepath.Join(dir, fmt.Sprintf("%s%d-%d%s%s", stem, os.Getpid(), published.Add(1), publishMark, ext))
	defer sys.remove(tmp)
	if err := make(tmp); err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return DiskFault(path, err)
	}
	if err := ctx.Err(); err != nil {
		return err
	}
	if _, err := markOf(tmp); err != nil {
		return fmt.Errorf("store: %s was not written: %w", path, err)
	}
	if err := sys.sync(tmp); err != nil {
		return DiskFault(path, err)
	}
	if err := sys.rename(tmp, path); err != nil {
		return DiskFault(path, err)
	}
	return DiskFault(path, sys.sync(dir))
}

// publishMark is the last part of a temporary name before its extension.
const publishMark = ".part"

// sweepPublished removes temporary files of one target whose process is gone.
// Failing to is no reason not to write.
func sweepPublished(sys system, dir, stem, ext string) {
	list, err := os.ReadDir(dir)
	if err != nil {
		return
	}
	for _, d := range list {
		mid, ok := strings.CutPrefix(d.Name(), stem)
		mid, ok2 := strings.CutSuffix(mid, publishMark+ext)
		number, _, ok3 := strings.Cut(mid, "-")
		pid, err := strconv.Atoi(number)
		if ok && ok2 && ok3 && err == nil && pid > 0 && gone(pid) {
			_ = sys.remove(filepath.Join(dir, d.Name()))
		}
	}
}

// Hash returns the SHA-256 of the stored single-file output of a. It fails when nothing
// is stored for a, or an output of several files.
func (s *Store) Hash(a Action) (ID, error) {
	e, err := s.load(a.ID())
	if err != nil {
		return ID{}, err
	}
	if len(e.Names) > 0 {
		return ID{}, fmt.Errorf("store: %s has several outputs and no hash of its own", e.Rule)
	}
	return e.Files[0].Hash, nil
}

// Deliver copies the stored single-file output of a to path, whole or not at
// all, and reports whether it had to: a target with the same bytes is left
// alone. The output must be stored.
func (s *Store) Deliver(ctx context.Context, a Action, path string) (written bool, err error) {
	from, err := s.Get(ctx, a)
	if err != nil {
		return false, fmt.Errorf("store: nothing to deliver to %s: %w", path, err)
	}
	e, err := s.load(a.ID())
	if err != nil {
		return false, err
	}
	if len(e.Names) > 0 {
		return false, fmt.Errorf("store: %s has several outputs and cannot be delivered as one file", e.Rule)
	}
	// Sizes first: a film of another size needs no reading. The hash of an
	// untouched delivery is remembered like that of any source file.
	if m, err := markOf(path); err == nil && m.Size == e.Files[0].Mark.Size {
		if got, err := s.HashFile(ctx, path); err == nil && got == e.Files[0].Hash {
			return false, nil
		}
	} else if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return false, DiskFault(path, err)
	}
	err = publish(ctx, s.sys, path, func(tmp string) error { return Copy(ctx, from, tmp) })
	return err == nil, err
}

// Copy copies the file from to a new file to, which must not exist yet, and stops
// with ctx's error. It copies bytes: a link would let an edit of the copy reach
// the store.
func Copy(ctx context.Context, from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o666)
	if err != nil {
		return err
	}
	if _, err := io.CopyBuffer(out, contextReader{ctx, in}, make([]byte, 1<<18)); err != nil {
		out.Close()
		return err
	}
	return out.Close()
}
