package store

import (
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"ripieno/assemble/fault"
)

// errLost is the cause of every fault that [IsLost] knows.
var errLost = errors.New("it was taken away while it was in use")

// IsLost reports whether err says that the store itself is gone. Nothing else
// will succeed after it, and no take is to blame.
func IsLost(err error) bool { return errors.Is(err, errLost) }

// Lost returns a fault when the store is no longer where this process locked it, or
// when one of the paths, which are outputs or folders in it, is not there any
// more: somebody deleted the folder, or emptied it by hand. It is nil for a
// store that this process has not locked.
func (s *Store) Lost(paths ...string) error {
	s.mu.Lock()
	lock := s.lock
	s.mu.Unlock()
	if lock == nil {
		return nil
	}
	gone := !samePath(lock, filepath.Join(s.dir, lockName))
	for _, p := range paths {
		if _, err := os.Lstat(p); errors.Is(err, fs.ErrNotExist) {
			gone = true
		}
	}
	if !gone {
		return nil
	}
	return fault.New(fault.Failed, s.dir, "the folder of what has been computed is incomplete",
		"run again, and delete nothing in it meanwhile; ripieno clean empties it").Because(errLost)
}
