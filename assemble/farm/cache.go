package farm

import (
	"context"
	"errors"
	"os"
	"path/filepath"
	"sync"
	"time"

	"ripieno/assemble/order"
)

// cache keeps files that a worker fetched, by their hashes, within a bound.
type cache struct {
	dir   string
	space int64 // bytes
	from  depot
	takes *shared // nil for none

	mu    sync.Mutex
	files map[string]*kept
	bytes int64
	clock int64
}

// kept is a file that this machine has: ready is closed when it is there, or err says why
// not. Files that no order reads go first when room is needed, those used longest ago
// before others.
type kept struct {
	size  int64
	used  int64 // clock of the last use
	users int   // orders that read it now
	ready chan struct{}
	err   error
}

// newCache returns an empty cache in a folder of its own.
func newCache(dir string, space int64, from depot, takes *shared) (*cache, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	return &cache{dir: dir, space: space, from: from, takes: takes, files: map[string]*kept{}}, nil
}

// use returns the path of a file and a function that gives it back. The file is
// fetched when it is not there; its hash was right then, and nobody else writes here.
// Several orders that want one file wait for one fetching of it; when that fails, all
// of them fail, and the next one tries again.
func (c *cache) use(ctx context.Context, f order.File) (string, func(), error) {
	path := filepath.Join(c.dir, f.Hash)
	c.mu.Lock()
	k := c.files[f.Hash]
	first := k == nil
	if first {
		k = &kept{size: f.Size, ready: make(chan struct{})}
		c.files[f.Hash] = k
		// Room is made before the file comes, by its size: the disk is never fuller than it may be.
		c.bytes += f.Size
		c.makeRoom()
	}
	c.clock++
	k.users, k.used = k.users+1, c.clock
	c.mu.Unlock()
	free := func() {
		c.mu.Lock()
		k.users--
		c.mu.Unlock()
	}
	if first {
		k.err = c.fetch(ctx, f, path)
		if k.err != nil {
			c.mu.Lock()
			delete(c.files, f.Hash)
			c.bytes -= f.Size
			c.mu.Unlock()
		}
		close(k.ready)
	}
	select {
	case <-k.ready:
	case <-ctx.Done():
		free()
		return "", nil, ctx.Err()
	}
	if k.err != nil {
		free()
		return "", nil, k.err
	}
	return path, free, nil
}

// fetch brings a file here: a take of the folder that all see, what a home has sent, or
// what another worker has made.
func (c *cache) fetch(ctx context.Context, f order.File, path string) error {
	err := c.takes.get(ctx, f, path)
	if errors.Is(err, errMissing) {
		err = c.from.get(ctx, readShelf, f, path)
	}
	if errors.Is(err, errMissing) {
		err = c.from.get(ctx, madeShelf, f, path)
	}
	return err
}

// keep takes over a file that a worker has made and sent: it may be asked to read it
// next. It stays where it is when there is no room.
func (c *cache) keep(f order.File, path string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.files[f.Hash] != nil || c.bytes+f.Size > c.space {
		return
	}
	if err := os.Rename(path, filepath.Join(c.dir, f.Hash)); err != nil {
		return
	}
	ready := make(chan struct{})
	close(ready)
	c.clock++
	c.files[f.Hash] = &kept{size: f.Size, used: c.clock, ready: ready}
	c.bytes += f.Size
}

// makeRoom removes what was not used for longest until the bound is kept, and never
// what is in use. c is locked. The bound may be passed while all files are in use: an
// order needs all of its inputs at once.
func (c *cache) makeRoom() {
	for c.bytes > c.space {
		oldest := ""
		for hash, k := range c.files {
			if k.users == 0 && k.isReady() && (oldest == "" || k.used < c.files[oldest].used) {
				oldest = hash
			}
		}
		if oldest == "" {
			return
		}
		os.Remove(filepath.Join(c.dir, oldest))
		c.bytes -= c.files[oldest].size
		delete(c.files, oldest)
	}
}

// isReady reports whether the file is there whole.
func (k *kept) isReady() bool {
	select {
	case <-k.ready:
		return true
	default:
		return false
	}
}

// await calls try until it does not fail, with a pause that grows to a second. The
// error is that of the last try, with ctx's.
func await(ctx context.Context, try func() error) error {
	for pause := 50 * time.Millisecond; ; pause = min(2*pause, time.Second) {
		err := try()
		if err == nil {
			return nil
		}
		select {
		case <-ctx.Done():
			return errors.Join(err, ctx.Err())
		case <-time.After(pause):
		}
	}
}
