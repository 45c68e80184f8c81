package farm

import (
	"context"
	"sync"
	"time"

	"github.com/nats-io/nats.go/jetstream"

	"ripieno/assemble/order"
)

// sent keeps which files this home has sent to the hub, so that no more lie there than
// orders need, and none when it goes.
type sent struct {
	store jetstream.ObjectStore
	space int64 // bytes that may lie at the hub; 0 is no bound

	mu    sync.Mutex
	files map[string]*sentFile // by hash
	bytes int64
	clock int64
}

// sentFile is a file in the hub. used is the clock of its last use: what was used longest
// ago is taken out first, unless an order that is out reads it.
type sentFile struct {
	size, used int64
	users      int // orders that are out and read it
}

// newSent returns the books of a home that has sent nothing. Of the room that the hub
// has for files a part stays free: pieces of a file that is being sent count as well.
func newSent(ctx context.Context, store jetstream.ObjectStore) *sent {
	s := &sent{store: store, files: map[string]*sentFile{}}
	if status, err := store.Status(ctx); err == nil {
		if b, ok := status.(*jetstream.ObjectBucketStatus); ok {
			s.space = max(0, b.StreamInfo().Config.MaxBytes) / 4 * 3
		}
	}
	return s
}

// use notes that orders are to read files, and removes from the hub what was not read
// for longest until there is room for them.
func (s *sent) use(ctx context.Context, files []order.File) {
	s.mu.Lock()
	for _, f := range files {
		k := s.files[f.Hash]
		if k == nil {
			k = &sentFile{size: f.Size}
			s.files[f.Hash] = k
			s.bytes += f.Size
		}
		s.clock++
		k.users, k.used = k.users+1, s.clock
	}
	var old []string
	for s.space > 0 && s.bytes > s.space {
		hash := s.oldest()
		if hash == "" {
			break
		}
		old = append(old, hash)
		s.forget(hash)
	}
	s.mu.Unlock()
	s.remove(ctx, old)
}

// free ends a use.
func (s *sent) free(files []order.File) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, f := range files {
		if k := s.files[f.Hash]; k != nil && k.users > 0 {
			k.users--
		}
	}
}

// oldest returns the file that no order reads and that was used first; "" for none. s
// is locked.
func (s *sent) oldest() (hash string) {
	for h, k := range s.files {
		if k.users == 0 && (hash == "" || k.used < s.files[hash].used) {
			hash = h
		}
	}
	return hash
}

// forget takes a file out of the books. s is locked.
func (s *sent) forget(hash string) {
	s.bytes -= s.files[hash].size
	delete(s.files, hash)
}

// clear removes everything that was sent from the hub.
func (s *sent) clear(ctx context.Context) {
	s.mu.Lock()
	var all []string
	for hash := range s.files {
		all = append(all, hash)
	}
	s.files, s.bytes = map[string]*sentFile{}, 0
	s.mu.Unlock()
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	s.remove(ctx, all)
}

// remove deletes files from the hub. What stays goes by its age.
func (s *sent) remove(ctx context.Context, hashes []string) {
	for _, hash := range hashes {
		if ctx.Err() != nil {
			return
		}
		_ = s.store.Delete(ctx, hash)
	}
}
