package store

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"time"
)

// touchEvery is how old the note of an entry's last use may be. A finer note
// would make a run that changes nothing write to every entry.
const touchEvery = time.Hour

// Miss is the error of [Store.Get] when an output cannot be used: it is missing,
// short, damaged or not what was stored. It is never a reason to stop; the output
// is made again.
type Miss struct{ Reason string }

// Error returns the reason in a few words.
func (m *Miss) Error() string { return m.Reason }

// NotMade is the [Miss] of an output that nothing was ever stored of.
var NotMade = &Miss{"not made yet"}

// Store is a folder of outputs. Its methods may be called from several
// goroutines.
type Store struct {
	dir  string
	sys  system
	poll time.Duration // how often LockWait asks

	puts   flight[ID, string]
	hashes memory

	mu     sync.Mutex
	lock   *os.File
	pinned map[ID]bool // used by this process: never trimmed by it
	bound  int64       // bytes; 0: none
	added  int64       // bytes stored since the size was last held against the bound

	// using is held for reading from when an entry is looked for until it is
	// pinned, and for writing while one that is not pinned is removed.
	using sync.RWMutex
}

// SetBound has the store remove what was not used for longest already during a
// run when it takes more than so many bytes; 0 is no bound. What this process
// used or made stays.
func (s *Store) SetBound(bytes int64) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.bound = bytes
}

// Release says that this process needs an output no longer: the bound may take it during the
// run. Using it again keeps it again.
func (s *Store) Release(id ID) {
	s.mu.Lock()
	defer s.mu.Unlock()
	delete(s.pinned, id)
}

// boundSteps is how often the size is held against the bound while that much is
// stored: listing a store costs some milliseconds for a hundred entries.
const boundSteps = 50

// grow keeps the store within its bound after something was stored. A failure
// is of no consequence: the run's own trimming tells of it.
func (s *Store) grow(ctx context.Context, bytes int64) {
	s.mu.Lock()
	s.added += bytes
	bound, due := s.bound, s.bound > 0 && s.added > s.bound/boundSteps
	if due {
		s.added = 0
	}
	s.mu.Unlock()
	if due {
		_, _ = s.Trim(ctx, bound)
	}
}

// Open prepares the store in dir, which is made when it is missing. It takes no lock. It
// fails where the folder cannot be made, or be made private.
func Open(dir string) (*Store, error) { return open(dir, realSystem()) }

// open does what Open does, on a system of the caller's choice, which tests make fail.
func open(dir string, sys system) (*Store, error) {
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	if err := sys.mkdir(abs); err != nil {
		return nil, DiskFault(abs, err)
	}
	// What is in it was made of recordings that may be for nobody else.
	if err := sys.private(abs, 0o700); err != nil {
		return nil, DiskFault(abs, err)
	}
	s := &Store{dir: abs, sys: sys, poll: 200 * time.Millisecond, pinned: map[ID]bool{}}
	s.hashes.load(filepath.Join(abs, hashesName))
	return s, nil
}

// Dir returns the absolute path of the store's folder.
func (s *Store) Dir() string { return s.dir }

// Close gives the lock back. Closing twice is fine.
func (s *Store) Close() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.lock == nil {
		return nil
	}
	err := s.lock.Close() // the kernel drops the lock with the last handle
	s.lock = nil
	return err
}

// Get looks for the output of a and returns the file (the folder, for
// [Action.Files]), which must only be read. Its error is a *[Miss] that says what
// is missing or wrong, or the first mistake in a. The context ends the comparison
// of a suspicious file.
func (s *Store) Get(ctx context.Context, a Action) (path string, err error) {
	if err := a.Err(); err != nil {
		return "", err
	}
	id := a.ID()
	s.using.RLock()
	defer s.using.RUnlock()
	e, err := s.load(id)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return "", NotMade
	case err != nil:
		return "", &Miss{err.Error()}
	}
	fresh, err := s.verify(ctx, e, false)
	if err != nil {
		return "", &Miss{err.Error()}
	}
	s.noteUse(e, fresh)
	return s.outputPath(id, e.Ext, e.Names), nil
}

// noteUse notes that e was read: it is pinned for this process, and when this
// process may write, the entry's last use is brought up to date. Failures are
// of no consequence: the next use tries again.
func (s *Store) noteUse(e *entry, fresh []output) {
	s.mu.Lock()
	s.pinned[e.ID] = true
	locked := s.lock != nil
	s.mu.Unlock()
	if !locked {
		return
	}
	if fresh != nil {
		e.Files = fresh
		_ = s.save(e)
	}
	index, now := s.indexPath(e.ID), s.sys.now()
	// The index's own modification time is the note: reading it costs nothing
	// extra, and writing it changes no bytes.
	st, err := os.Stat(index)
	if err != nil {
		return
	}
	// A note from the future (the clock was set back) is brought up to date
	// too: else the entry would count as the most recently used for years.
	if age := now.Sub(st.ModTime()); age < 0 || age >= touchEvery {
		_ = s.sys.touch(index, now)
	}
}

// Remove forgets the output of id. A missing one is fine. It fails without the lock, and
// where the disk refuses.
func (s *Store) Remove(id ID) error {
	if err := s.mustHold(); err != nil {
		return err
	}
	return DiskFault(s.dir, s.drop(id))
}

// drop removes the index before the output, so that a kill in between leaves
// an output nobody claims, and never a claim without an output.
func (s *Store) drop(id ID) error {
	if err := s.sys.remove(s.indexPath(id)); err != nil {
		return err
	}
	paths, err := s.pathsOf(id)
	if err != nil {
		return err
	}
	for _, p := range paths {
		if err := s.sys.remove(p); err != nil {
			return err
		}
	}
	return nil
}

// pathsOf returns everything on disk that belongs to id, whatever its extension.
// (No globbing: a user's folder may have brackets in its name.)
func (s *Store) pathsOf(id ID) ([]string, error) {
	list, err := os.ReadDir(s.shard(id))
	if err != nil && !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	var paths []string
	for _, d := range list {
		if strings.HasPrefix(d.Name(), id.String()) {
			paths = append(paths, filepath.Join(s.shard(id), d.Name()))
		}
	}
	return paths, nil
}

// mustHold refuses to write without the lock: that is a bug of the caller.
func (s *Store) mustHold() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.lock == nil {
		return fmt.Errorf("store: %s is written without its lock", s.dir)
	}
	return nil
}

// tempPattern returns the pattern of this process's own temporary names.
func (s *Store) tempPattern() string { return fmt.Sprintf("%s%d-*", tempPrefix, os.Getpid()) }
