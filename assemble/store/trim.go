package store

import (
	"cmp"
	"context"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"
)

// Entry is one stored output in a listing.
type Entry struct {
	ID      ID
	Rule    string
	Subject string
	Bytes   int64     // of the output files
	Used    time.Time // last use, known to the hour
	Made    time.Time
	Seconds float64 // what making it took
	Damage  string  // why it cannot be used; empty when nothing is known
}

// Freed is what a cleaning took away.
type Freed struct {
	Entries int
	Bytes   int64
}

// List returns every entry, the least recently used first and equal times in order of
// the ID. Entries whose index is damaged are listed with the damage; the outputs
// themselves are not looked at. It fails when ctx ends or the folder cannot be read.
func (s *Store) List(ctx context.Context) ([]Entry, error) {
	var all []Entry
	err := s.each(ctx, func(x Entry, _ *entry) { all = append(all, x) })
	slices.SortFunc(all, func(a, b Entry) int {
		return cmp.Or(a.Used.Compare(b.Used), slices.Compare(a.ID[:], b.ID[:]))
	})
	return all, err
}

// each visits every entry in order of the ID; e is nil when the index is
// damaged.
func (s *Store) each(ctx context.Context, visit func(x Entry, e *entry)) error {
	return s.walk(ctx, func(path string, d fs.DirEntry) error {
		id, ok := indexID(d.Name())
		if !ok {
			return nil
		}
		st, err := d.Info()
		if errors.Is(err, fs.ErrNotExist) {
			return nil // removed meanwhile by the run that has the lock
		} else if err != nil {
			return err
		}
		x := Entry{ID: id, Used: st.ModTime()}
		e, err := s.load(id)
		if err != nil {
			x.Damage, x.Bytes = err.Error(), s.strayBytes(id)
		} else {
			x.Rule, x.Subject, x.Bytes = e.Rule, e.Subject, e.bytes()
			x.Made, x.Seconds = time.Unix(0, e.Made), e.Seconds
		}
		visit(x, e)
		return nil
	})
}

// Trim removes the least recently used entries until the outputs that remain take at
// most bound bytes. What this process has used or made since Open stays, even when that
// is more than the bound. It fails as [Store.List] does, without the lock, and where the
// disk refuses; what went is told all the same.
func (s *Store) Trim(ctx context.Context, bound int64) (Freed, error) {
	all, err := s.List(ctx)
	if err != nil {
		return Freed{}, err
	}
	var total int64
	for _, e := range all {
		total += e.Bytes
	}
	return s.removeEach(ctx, all, func(e Entry) bool {
		// Damaged entries go in any case: they take space and serve nobody.
		if total <= bound && e.Damage == "" || s.isPinned(e.ID) {
			return false
		}
		total -= e.Bytes
		return true
	})
}

// Clean removes every entry and every remembered hash. It fails without the lock, and
// where the disk refuses; what went is told all the same.
func (s *Store) Clean(ctx context.Context) (Freed, error) {
	all, err := s.List(ctx)
	if err != nil {
		return Freed{}, err
	}
	freed, err := s.removeEach(ctx, all, func(Entry) bool { return true })
	if err != nil {
		return freed, err
	}
	return freed, DiskFault(s.dir, s.hashes.forget(s.sys))
}

// Check compares the bytes of every entry with what was stored and returns the damaged
// ones. It removes nothing; a damaged entry is never used anyway. It fails when ctx ends
// or the folder cannot be read; damage is no failure.
func (s *Store) Check(ctx context.Context) ([]Entry, error) {
	all, err := s.List(ctx)
	if err != nil {
		return nil, err
	}
	var bad []Entry
	for _, x := range all {
		if x.Damage == "" {
			e, err := s.load(x.ID)
			if err == nil {
				_, err = s.verify(ctx, e, true)
			}
			if ctx.Err() != nil {
				return bad, ctx.Err()
			}
			if err == nil {
				continue
			}
			x.Damage = err.Error()
		}
		bad = append(bad, x)
	}
	return bad, nil
}

// removeEach removes the entries that are doomed and returns what that freed.
func (s *Store) removeEach(ctx context.Context, all []Entry, doomed func(Entry) bool) (Freed, error) {
	var freed Freed
	if err := s.mustHold(); err != nil {
		return freed, err
	}
	for _, e := range all {
		if err := ctx.Err(); err != nil {
			return freed, err
		}
		gone, err := s.dropIf(e, doomed)
		if err != nil {
			return freed, DiskFault(s.dir, err)
		}
		if !gone {
			continue
		}
		freed.Entries++
		freed.Bytes += e.Bytes
	}
	return freed, nil
}

// dropIf removes an entry that is doomed, while nobody is looking for one.
func (s *Store) dropIf(e Entry, doomed func(Entry) bool) (gone bool, err error) {
	s.using.Lock()
	defer s.using.Unlock()
	if !doomed(e) {
		return false, nil
	}
	return true, s.drop(e.ID)
}

// isPinned reports whether this process has used or made an entry.
func (s *Store) isPinned(id ID) bool {
	s.mu.Lock()
	defer s.mu.Unlock()
	return s.pinned[id]
}

// sweep removes what killed runs left: scratch folders, and outputs that never
// got their index. Only the holder of the lock may call it, before it makes
// anything: nobody else is then at work.
func (s *Store) sweep(ctx context.Context) error {
	return s.walk(ctx, func(path string, d fs.DirEntry) error {
		name := d.Name()
		if _, ok := indexID(name); ok {
			return nil
		}
		if !strings.HasPrefix(name, tempPrefix) {
			hex, _, _ := strings.Cut(name, ".")
			id, err := ParseID(hex)
			if err != nil {
				return nil // nothing of ours: leave it
			}
			if _, err := os.Lstat(s.indexPath(id)); !errors.Is(err, fs.ErrNotExist) {
				return nil
			}
		}
		return s.sys.remove(path)
	})
}

// walk visits everything in the shard folders, in order of name. A store whose
// folder is gone is empty.
func (s *Store) walk(ctx context.Context, visit func(path string, d fs.DirEntry) error) error {
	shards, err := os.ReadDir(s.dir)
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return err
	}
	for _, shard := range shards {
		if !shard.IsDir() || len(shard.Name()) != 2 {
			continue
		}
		dir := filepath.Join(s.dir, shard.Name())
		list, err := os.ReadDir(dir)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		for _, d := range list {
			if err := ctx.Err(); err != nil {
				return err
			}
			if err := visit(filepath.Join(dir, d.Name()), d); err != nil {
				return err
			}
		}
	}
	return nil
}

// indexID returns the key in the name of an index file.
func indexID(name string) (ID, bool) {
	hex, ok := strings.CutSuffix(name, entryExt)
	if !ok {
		return ID{}, false
	}
	id, err := ParseID(hex)
	return id, err == nil
}

// strayBytes returns the size of the files of an entry whose index cannot be read.
func (s *Store) strayBytes(id ID) int64 {
	var n int64
	names, _ := s.pathsOf(id)
	for _, name := range names {
		_ = filepath.WalkDir(name, func(_ string, d fs.DirEntry, err error) error {
			if err != nil {
				return nil
			}
			if st, err := d.Info(); err == nil && st.Mode().IsRegular() {
				n += st.Size()
			}
			return nil
		})
	}
	return n
}
