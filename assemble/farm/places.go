package farm

import (
	"context"
	"errors"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"sync"

	"github.com/nats-io/nats.go"

	"ripieno/assemble/order"
)

// Places say where files lie beside the hub, for machines that an administrator keeps.
// The zero value is nowhere.
type Places struct {
	// Takes is a folder that the home and all that work see, each by its own path. What
	// lies in it is not sent.
	Takes string
	// Bucket is the address of a bucket in which files lie instead of at the hub, with its
	// key; see [openBucket].
	Bucket string
}

// depot returns where files lie, for a home or a worker. nc is a connection to the hub for
// files. It fails with [ErrBucket] when there is a bucket that cannot be used.
func (p Places) depot(ctx context.Context, nc *nats.Conn, home bool) (depot, error) {
	if p.Bucket == "" {
		return newPieces(nc)
	}
	b, err := openBucket(p.Bucket)
	if err != nil {
		return nil, err
	}
	return b, b.check(ctx, home)
}

// shared is the folder of takes that several machines see. Files are found by their size
// and checked by their hash: an order names no path.
type shared struct {
	dir string

	mu    sync.Mutex
	sizes map[int64][]string // paths of the files of a size
}

// newShared returns a folder, or nil for none. It fails when that is no folder.
func newShared(dir string) (*shared, error) {
	if dir == "" {
		return nil, nil
	}
	dir, err := filepath.EvalSymlinks(dir)
	if err == nil {
		dir, err = filepath.Abs(dir)
	}
	if err != nil {
		return nil, err
	}
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return nil, errors.Join(err, errors.New("farm: "+dir+" is no folder"))
	}
	return &shared{dir: dir}, nil
}

// holds reports whether a path lies in the folder.
func (s *shared) holds(path string) bool {
	if s == nil {
		return false
	}
	real, err := filepath.EvalSymlinks(path)
	if err != nil {
		return false
	}
	in, err := filepath.Rel(s.dir, real)
	return err == nil && filepath.IsLocal(in)
}

// get writes the file of the folder that is f to path. It fails with errMissing when none
// is.
func (s *shared) get(ctx context.Context, f order.File, path string) error {
	if s == nil {
		return errMissing
	}
	for range 2 { // it may have come since the folder was looked through
		for _, at := range s.ofSize(f.Size) {
			if ctx.Err() != nil {
				return ctx.Err()
			}
			if copyChecked(f, at, path) == nil {
				return nil
			}
		}
		s.look()
	}
	return errMissing
}

// ofSize returns the files of a size, as the folder was when it was looked through.
func (s *shared) ofSize(bytes int64) []string {
	s.mu.Lock()
	defer s.mu.Unlock()
	return slices.Clone(s.sizes[bytes])
}

// look looks through the folder. Hidden folders, such as stores, are left out, and links
// are not followed.
func (s *shared) look() {
	sizes := map[int64][]string{}
	_ = filepath.WalkDir(s.dir, func(path string, d fs.DirEntry, err error) error {
		switch {
		case err != nil: // what cannot be read is not there
			return nil
		case d.IsDir() && path != s.dir && strings.HasPrefix(d.Name(), "."):
			return fs.SkipDir
		case !d.Type().IsRegular():
			return nil
		}
		if info, err := d.Info(); err == nil {
			sizes[info.Size()] = append(sizes[info.Size()], path)
		}
		return nil
	})
	s.mu.Lock()
	s.sizes = sizes
	s.mu.Unlock()
}

// copyChecked copies a file that must be f.
func copyChecked(f order.File, from, to string) error {
	r, err := os.Open(from)
	if err != nil {
		return err
	}
	defer r.Close()
	return receive(f, to, func(w io.Writer) error {
		_, err := io.Copy(w, io.LimitReader(r, f.Size+1))
		return err
	})
}
