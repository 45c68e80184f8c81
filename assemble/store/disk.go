package store

import (
	"errors"
	"fmt"
	"io/fs"
	"path/filepath"
	"slices"
	"syscall"

	"ripieno/assemble/fault"
)

var (
	errNotRegular = errors.New("not a regular file")
	errNoSpace    = errors.New("no space left on the disk")
)

// lowSpace is the free space below which a failure of a tool is put down to
// the full disk: the tool's own message rarely says so, and deleting its
// half-made output would hide it.
const lowSpace = 1 << 20

// IsNoSpace reports whether err says that a disk or a quota is full. Nothing
// else will succeed after it, so a run should stop.
func IsNoSpace(err error) bool {
	return isAny(err, fullErrors) || isAny(err, quotaErrors) || errors.Is(err, errNoSpace)
}

// isAny reports whether err is one of some errors.
func isAny(err error, of []error) bool {
	return slices.ContainsFunc(of, func(e error) bool { return errors.Is(err, e) })
}

// DiskFault turns what a disk says no with (full, quota, read-only, no
// permission) into a fault a person can mend; where is the file or folder that
// was being written. Any other error, nil and an error that already carries a
// fault come back as they are.
func DiskFault(where string, err error) error {
	if f := (*fault.Fault)(nil); err == nil || errors.As(err, &f) {
		return err
	}
	hint := ""
	switch {
	case isAny(err, quotaErrors):
		hint = "delete something or ask for more space, and run again; finished work is kept"
	case IsNoSpace(err):
		hint = noSpaceHint
	case isAny(err, readOnlyErrors):
		hint = "use a folder on a disk that can be written"
	case errors.Is(err, fs.ErrPermission):
		hint = fmt.Sprintf("change the permissions of %q, or use another folder", filepath.Dir(where))
	default:
		return err
	}
	// Only the system's own word is shown: the call that failed and the name
	// of a temporary file mean nothing to the reader.
	if no := syscall.Errno(0); errors.As(err, &no) {
		err = no
	}
	return fault.New(fault.Failed, where, "cannot be written", hint).Because(err)
}

const noSpaceHint = "free some space and run again; finished work is kept"

// fullDisk is an error of a tool that is put down to the full disk.
type fullDisk struct{ error }

// Is makes it known to [IsNoSpace].
func (f fullDisk) Is(target error) bool { return target == errNoSpace }

// Unwrap returns the tool's error.
func (f fullDisk) Unwrap() error { return f.error }

// suspectFullDisk looks at the free space after a tool failed, and adds the
// full disk as the cause when there is next to none.
func (s *Store) suspectFullDisk(err error) error {
	if err == nil || IsNoSpace(err) {
		return err
	}
	if free, ferr := s.sys.freeBytes(s.dir); ferr != nil || free >= lowSpace {
		return err
	}
	return fault.New(fault.Failed, s.dir, "no space left on the disk", noSpaceHint).Because(fullDisk{err})
}
