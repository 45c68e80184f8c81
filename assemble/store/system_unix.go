//go:build unix

package store

import (
	"errors"
	"io/fs"
	"os"

	"golang.org/x/sys/unix"
)

// markOf looks at a regular file. A link, a folder or a device is an error.
func markOf(path string) (mark, error) {
	var st unix.Stat_t
	if err := unix.Lstat(path, &st); err != nil {
		return mark{}, &fs.PathError{Op: "lstat", Path: path, Err: err}
	}
	return markFrom(&st, "use", path)
}

// statFile does what [markOf] does and follows links: a source file may well be one.
func statFile(path string) (mark, error) {
	var st unix.Stat_t
	if err := unix.Stat(path, &st); err != nil {
		return mark{}, &fs.PathError{Op: "stat", Path: path, Err: err}
	}
	return markFrom(&st, "hash", path)
}

// markOfOpen does what [markOf] does for an open file.
func markOfOpen(f *os.File) (mark, error) {
	var st unix.Stat_t
	if err := unix.Fstat(int(f.Fd()), &st); err != nil {
		return mark{}, &fs.PathError{Op: "fstat", Path: f.Name(), Err: err}
	}
	return markFrom(&st, "use", f.Name())
}

// markFrom returns the mark of what was looked at to do op with it.
func markFrom(st *unix.Stat_t, op, path string) (mark, error) {
	if st.Mode&unix.S_IFMT != unix.S_IFREG {
		return mark{}, &fs.PathError{Op: op, Path: path, Err: errNotRegular}
	}
	return mark{Size: st.Size, Mtime: st.Mtim.Nano(), Ctime: st.Ctim.Nano(), Inode: uint64(st.Ino)}, nil
}

// openPlain opens a regular file for reading. A link in its place is an error,
// and a pipe is none to wait for.
func openPlain(path string) (*os.File, error) {
	return os.OpenFile(path, os.O_RDONLY|unix.O_NOFOLLOW|unix.O_NONBLOCK, 0)
}

// flock locks an open file for this process, or reports that another one, or
// another open file of this one, has it.
func flock(f *os.File) (taken bool, err error) {
	err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
	if errors.Is(err, unix.EWOULDBLOCK) {
		return true, nil
	}
	return false, err
}

// gone reports whether no process has this number.
func gone(pid int) bool { return errors.Is(unix.Kill(pid, 0), unix.ESRCH) }

// freeBytes returns what an ordinary user may still write to dir's disk.
func freeBytes(dir string) (int64, error) {
	var st unix.Statfs_t
	if err := unix.Statfs(dir, &st); err != nil {
		return 0, &fs.PathError{Op: "statfs", Path: dir, Err: err}
	}
	return int64(st.Bavail) * int64(st.Bsize), nil
}

// What the system calls a full disk, a used-up quota and one that cannot be
// written.
var (
	fullErrors     = []error{unix.ENOSPC}
	quotaErrors    = []error{unix.EDQUOT}
	readOnlyErrors = []error{unix.EROFS}
)

// rename puts a file or folder in the place of another.
func rename(from, to string) error { return os.Rename(from, to) }

// syncPath waits until the file's content, or the folder's list of names, is
// on the disk. A read-only handle is enough for fsync.
func syncPath(path string) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	return syncAndClose(f)
}

// makePrivate gives a file or folder a mode unless its owner alone has rights to
// it already. A disk that keeps no rights, and somebody else's folder, stay as
// they are.
func makePrivate(path string, mode fs.FileMode) error {
	st, err := os.Lstat(path)
	if err != nil {
		return err
	}
	if st.Mode().Perm()&0o077 == 0 {
		return nil
	}
	err = os.Chmod(path, mode)
	if errors.Is(err, fs.ErrPermission) || errors.Is(err, errors.ErrUnsupported) {
		return nil
	}
	return err
}
