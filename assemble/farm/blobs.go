package farm

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"ripieno/assemble/order"
)

// open returns a bucket of files. A hub that says nothing about a piece for a lease,
// such as one with a full disk, is waited for no longer.
func open(ctx context.Context, nc *nats.Conn, bucket string) (jetstream.ObjectStore, error) {
	js, err := jetstream.New(nc, jetstream.WithDefaultTimeout(lease))
	if err != nil {
		return nil, err
	}
	return js.ObjectStore(ctx, bucket)
}

// chunk is how many bytes of a file travel in one message.
const chunk = 512 << 10

// hashed describes a file by its content.
func hashed(name, path string) (order.File, error) {
	f, err := os.Open(path)
	if err != nil {
		return order.File{}, err
	}
	defer f.Close()
	h := sha256.New()
	n, err := io.Copy(h, f)
	return order.File{Name: name, Hash: hex.EncodeToString(h.Sum(nil)), Size: n}, err
}

// send puts a file into a bucket under its hash, unless it is there with its size.
func send(ctx context.Context, to jetstream.ObjectStore, f order.File, path string) error {
	if isThere(ctx, to, f) {
		return nil
	}
	r, err := os.Open(path)
	if err != nil {
		return err
	}
	defer r.Close()
	meta := jetstream.ObjectMeta{Name: f.Hash, Opts: &jetstream.ObjectMetaOptions{ChunkSize: chunk}}
	// Without a deadline the engine waits for a lease for each piece, see [open].
	info, err := to.Put(ctx, meta, r)
	switch {
	case err != nil && isThere(ctx, to, f): // another sent it at the same moment
		return nil
	case err != nil:
		return fmt.Errorf("farm: sending %d bytes: %w", f.Size, err)
	case int64(info.Size) != f.Size:
		return fmt.Errorf("farm: %s changed while it was sent", filepath.Base(path))
	}
	return nil
}

// patience returns how long a file of so many bytes may take to travel: what the
// slowest line of a volunteer needs. Without a limit of its own the engine gives up
// after some seconds, whatever the size.
func patience(bytes int64) time.Duration {
	const slowest = 100e3 // bytes a second
	return time.Minute + time.Duration(float64(bytes)/slowest*float64(time.Second))
}

// isThere reports whether a bucket has a file whole.
func isThere(ctx context.Context, in jetstream.ObjectStore, f order.File) bool {
	info, err := in.GetInfo(ctx, f.Hash)
	return err == nil && int64(info.Size) == f.Size
}

// errDamaged is what arrived as another file than was asked for.
var errDamaged = errors.New("farm: what arrived is not the file that was asked for")

// fetch writes a file of a bucket to path, and fails when it is not the one with that
// hash and size.
func fetch(ctx context.Context, from jetstream.ObjectStore, f order.File, path string) error {
	timed, cancel := context.WithTimeout(ctx, patience(f.Size))
	ended := make(chan error, 1)
	go func() { // reading from a line that is cut does not notice that ctx ends
		defer cancel()
		ended <- read(timed, from, f, path)
	}()
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
		os.Remove(path)
		return ctx.Err()
	}
}

// read is fetch without regard to whoever waits.
func read(ctx context.Context, from jetstream.ObjectStore, f order.File, path string) (err error) {
	r, err := from.Get(ctx, f.Hash)
	if err != nil {
		return fmt.Errorf("farm: fetching a file: %w", err)
	}
	defer r.Close()
	w, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_TRUNC, 0o600)
	if err != nil {
		return err
	}
	defer func() {
		err = errors.Join(err, w.Close())
		if err != nil {
			os.Remove(path)
		}
	}()
	h := sha256.New()
	n, err := io.Copy(io.MultiWriter(w, h), io.LimitReader(r, f.Size+1))
	switch {
	case err != nil:
		return fmt.Errorf("farm: fetching a file: %w", err)
	case n != f.Size || hex.EncodeToString(h.Sum(nil)) != f.Hash:
		return errDamaged
	}
	return nil
}

// cache keeps files that a worker fetched, by their hashes, within a bound.
type cache struct {
	dir   string
	space int64 // bytes
	from  jetstream.ObjectStore

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
func newCache(dir string, space int64, from jetstream.ObjectStore) (*cache, error) {
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, err
	}
	return &cache{dir: dir, space: space, from: from, files: map[string]*kept{}}, nil
}

// use returns the path of a file and a function that gives it back. The file is
// fetched when it is not there; its hash was right then, and nobody else writes here.
func (c *cache) use(ctx context.Context, f order.File) (string, func(), error) {
	path := filepath.Join(c.dir, f.Hash)
	c.mu.Lock()
	k := c.files[f.Hash]
	first := k == nil
	if first {
		k = &kept{size: f.Size, ready: make(chan struct{})}
		c.files[f.Hash] = k
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
		k.err = fetch(ctx, c.from, f, path)
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
// what is in use. c is locked.
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

// await calls try until it does not fail, with a pause that grows to a second.
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
