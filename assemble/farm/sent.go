package farm

import (
	"context"
	"slices"
	"sync"
	"time"

	"ripieno/assemble/order"
)

// sent keeps which files lie at the hub for this home, so that none is sent twice, no
// more lie there than orders need, and none when the home goes. What workers made stays
// there as well: the next order may read it.
type sent struct {
	depot depot
	space map[shelf]int64 // bytes that may lie on it; 0 is no bound

	mu    sync.Mutex
	freed chan struct{}        // closed when an order does not read its files any more
	files map[string]*sentFile // by hash
	bytes map[shelf]int64
	clock int64
	again map[string]bool // hashes of files that orders will read which are not out yet
}

// sentFile is a file in the hub. used is the clock of its last use: what was used longest
// ago is taken out first, unless an order that is out reads it.
type sentFile struct {
	shelf      shelf
	size, used int64
	users      int  // orders that are out and read it
	there      bool // it was there whole when that was last known
	made       bool // it lay on the other shelf before that was doubted, and may lie there still
}

// newSent returns the books of a home that has sent nothing. Of the room that the hub
// has for files a part stays free: pieces of a file that is being sent count as well.
func newSent(ctx context.Context, d depot) *sent {
	s := &sent{depot: d, space: map[shelf]int64{}, freed: make(chan struct{}), files: map[string]*sentFile{},
		bytes: map[shelf]int64{}}
	for _, on := range []shelf{readShelf, madeShelf} {
		s.space[on] = d.space(ctx, on) / 4 * 3
	}
	return s
}

// use waits until there is room for what an order reads beside what other orders read that
// are out, notes that it reads it, and removes from the hub what was not read for longest.
// It fails when ctx ends before.
func (s *sent) use(ctx context.Context, files []order.File) error {
	for {
		s.mu.Lock()
		if s.fits(files) {
			break
		}
		freed := s.freed
		s.mu.Unlock()
		select {
		case <-freed:
		case <-ctx.Done():
			return ctx.Err()
		}
	}
	for _, f := range files {
		s.note(readShelf, f).users++
	}
	old := s.makeRoom()
	s.mu.Unlock()
	s.remove(ctx, old)
	return nil
}

// fits reports whether files have room beside those that orders read which are out. One
// order always has it: what is too large for the hub is for the hub to say. s is locked.
func (s *sent) fits(files []order.File) bool {
	space := s.space[readShelf]
	var used, more int64
	for _, k := range s.files {
		if k.users > 0 && k.shelf == readShelf {
			used += k.size
		}
	}
	for _, f := range files {
		if k := s.files[f.Hash]; k == nil || k.users == 0 && k.shelf == readShelf {
			more += f.Size
		}
	}
	return space == 0 || used == 0 || more == 0 || used+more <= space
}

// expect notes which files orders will read that are not out yet. Others go before them when
// room is needed, although none reads them at the moment.
func (s *sent) expect(hashes map[string]bool) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.again = hashes
}

// came notes files that workers made and that are home now. A file that lies on the other
// shelf as well is not wanted twice.
func (s *sent) came(ctx context.Context, files []order.File) {
	s.mu.Lock()
	var old []stale
	for _, f := range files {
		if k := s.files[f.Hash]; k != nil && k.shelf != madeShelf {
			old = append(old, stale{madeShelf, f.Hash})
			continue
		}
		s.note(madeShelf, f).there = true
	}
	old = append(old, s.makeRoom()...)
	s.mu.Unlock()
	s.remove(ctx, old)
}

// note returns the entry of a file, which it makes when there is none. s is locked.
func (s *sent) note(on shelf, f order.File) *sentFile {
	k := s.files[f.Hash]
	if k == nil {
		k = &sentFile{shelf: on, size: f.Size}
		s.files[f.Hash] = k
		s.bytes[on] += f.Size
	}
	s.clock++
	k.used = s.clock
	return k
}

// isThere reports whether a file lay at the hub when that was last known.
func (s *sent) isThere(hash string) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	k := s.files[hash]
	return k != nil && k.there
}

// arrived notes that a file is at the hub whole.
func (s *sent) arrived(hash string) {
	s.mu.Lock()
	defer s.mu.Unlock()
	if k := s.files[hash]; k != nil {
		k.there = true
	}
}

// doubt forgets what is known of the hub, which may have lost it. Files that workers made
// are sent from here when they are needed again.
func (s *sent) doubt() {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, k := range s.files {
		k.there = false
		if k.shelf == madeShelf {
			s.bytes[madeShelf] -= k.size
			s.bytes[readShelf] += k.size
			k.shelf, k.made = readShelf, true
		}
	}
}

// free ends one use of each file. What nobody uses may be removed when room is needed, and
// whoever waits for room looks again.
func (s *sent) free(files []order.File) {
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, f := range files {
		if k := s.files[f.Hash]; k != nil && k.users > 0 {
			k.users--
		}
	}
	close(s.freed)
	s.freed = make(chan struct{})
}

// stale is a file to be removed.
type stale struct {
	shelf shelf
	hash  string
}

// stale returns where a file has to be removed that has no use any more.
func (k *sentFile) stale(hash string) []stale {
	list := []stale{{k.shelf, hash}}
	if k.made {
		list = append(list, stale{madeShelf, hash})
	}
	return list
}

// makeRoom takes what no order reads out of the books, what was used first first, until
// the bounds are kept. s is locked.
func (s *sent) makeRoom() (old []stale) {
	for on, space := range s.space {
		for space > 0 && s.bytes[on] > space {
			hash := s.oldest(on)
			if hash == "" {
				break
			}
			old = append(old, s.files[hash].stale(hash)...)
			s.bytes[on] -= s.files[hash].size
			delete(s.files, hash)
		}
	}
	return old
}

// oldest returns the file of a shelf that no order reads and that was used first, of those that
// will be read again only when there are no others; "" for none. s is locked.
func (s *sent) oldest(on shelf) (hash string) {
	sooner := func(a, b string) bool {
		if s.again[a] != s.again[b] {
			return s.again[b]
		}
		return s.files[a].used < s.files[b].used
	}
	for h, k := range s.files {
		if k.shelf == on && k.users == 0 && (hash == "" || sooner(h, hash)) {
			hash = h
		}
	}
	return hash
}

// clear removes everything that this home knows of from the hub.
func (s *sent) clear(ctx context.Context) {
	s.mu.Lock()
	var all []stale
	for hash, k := range s.files {
		all = append(all, k.stale(hash)...)
	}
	clear(s.files)
	clear(s.bytes)
	s.mu.Unlock()
	ctx, cancel := context.WithTimeout(ctx, 10*time.Second)
	defer cancel()
	s.remove(ctx, all)
}

// remove deletes files from the hub. What stays goes by its age.
func (s *sent) remove(ctx context.Context, old []stale) {
	for f := range slices.Values(old) {
		if ctx.Err() != nil {
			return
		}
		_ = s.depot.drop(ctx, f.shelf, f.hash)
	}
}
