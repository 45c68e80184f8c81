package store

import (
	"errors"
	"io/fs"
	"os"
	"syscall"
	"time"
	"unsafe"

	"golang.org/x/sys/windows"
)

// markOf looks at a regular file. A link, a folder or a device is an error.
func markOf(path string) (mark, error) {
	st, err := os.Lstat(path)
	if err != nil {
		return mark{}, err
	}
	if !st.Mode().IsRegular() {
		return mark{}, &fs.PathError{Op: "use", Path: path, Err: errNotRegular}
	}
	return statFile(path)
}

// statFile does what [markOf] does and follows links: a source file may well be one.
func statFile(path string) (mark, error) {
	f, err := os.Open(path)
	if err != nil {
		return mark{}, err
	}
	defer f.Close()
	return markOfOpen(f)
}

// basicInfo is FILE_BASIC_INFO. Times count 100 ns since 1601. ChangeTime is what
// NTFS notes of every change, also of a name, and what nobody sets back by hand;
// file systems without it have 0.
type basicInfo struct {
	CreationTime, LastAccessTime, LastWriteTime, ChangeTime int64
	Attributes, _                                           uint32
}

// since1601 turns such a time into nanoseconds since 1970.
func since1601(t int64) int64 {
	const between = 116_444_736_000_000_000
	if t == 0 {
		return 0
	}
	return (t - between) * 100
}

// markOfOpen does what [markOf] does for an open file.
func markOfOpen(f *os.File) (mark, error) {
	h := windows.Handle(f.Fd())
	var id windows.ByHandleFileInformation
	if err := windows.GetFileInformationByHandle(h, &id); err != nil {
		return mark{}, &fs.PathError{Op: "look at", Path: f.Name(), Err: err}
	}
	if id.FileAttributes&windows.FILE_ATTRIBUTE_DIRECTORY != 0 {
		return mark{}, &fs.PathError{Op: "use", Path: f.Name(), Err: errNotRegular}
	}
	m := mark{Size: int64(id.FileSizeHigh)<<32 | int64(id.FileSizeLow), Mtime: id.LastWriteTime.Nanoseconds(),
		Inode: uint64(id.FileIndexHigh)<<32 | uint64(id.FileIndexLow)}
	var times basicInfo
	// Not every file system tells; size, time and number are left then.
	if windows.GetFileInformationByHandleEx(h, windows.FileBasicInfo, (*byte)(unsafe.Pointer(&times)),
		uint32(unsafe.Sizeof(times))) == nil {
		m.Ctime = since1601(times.ChangeTime)
	}
	return m, nil
}

// openPlain opens a regular file for reading. While it is open nothing can take
// its place.
func openPlain(path string) (*os.File, error) {
	st, err := os.Lstat(path)
	if err != nil {
		return nil, err
	}
	if !st.Mode().IsRegular() {
		return nil, &fs.PathError{Op: "use", Path: path, Err: errNotRegular}
	}
	return os.Open(path)
}

// flock locks an open file for this process, or reports that another one, or
// another open file of this one, has it. What is locked is a byte far behind the
// content, because nobody could read a locked one.
func flock(f *os.File) (taken bool, err error) {
	at := windows.Overlapped{OffsetHigh: 0x7fff_ffff}
	err = windows.LockFileEx(windows.Handle(f.Fd()), windows.LOCKFILE_EXCLUSIVE_LOCK|windows.LOCKFILE_FAIL_IMMEDIATELY,
		0, 1, 0, &at)
	if errors.Is(err, windows.ERROR_LOCK_VIOLATION) || errors.Is(err, windows.ERROR_IO_PENDING) {
		return true, nil
	}
	return false, err
}

// gone reports whether no process has this number.
func gone(pid int) bool {
	h, err := windows.OpenProcess(windows.PROCESS_QUERY_LIMITED_INFORMATION, false, uint32(pid))
	if err != nil {
		return errors.Is(err, windows.ERROR_INVALID_PARAMETER)
	}
	defer windows.CloseHandle(h)
	const stillActive = 259
	var code uint32
	return windows.GetExitCodeProcess(h, &code) == nil && code != stillActive
}

// freeBytes returns what this user may still write to dir's disk.
func freeBytes(dir string) (int64, error) {
	name, err := windows.UTF16PtrFromString(dir)
	if err != nil {
		return 0, err
	}
	var free uint64
	if err := windows.GetDiskFreeSpaceEx(name, &free, nil, nil); err != nil {
		return 0, &fs.PathError{Op: "free space", Path: dir, Err: err}
	}
	return int64(min(free, 1<<62)), nil
}

// What the system, and Go in its place, call a full disk, a used-up quota and one
// that cannot be written.
var (
	fullErrors     = []error{windows.ERROR_DISK_FULL, windows.ERROR_HANDLE_DISK_FULL, syscall.ENOSPC}
	quotaErrors    = []error{windows.ERROR_DISK_QUOTA_EXCEEDED, syscall.EDQUOT}
	readOnlyErrors = []error{windows.ERROR_WRITE_PROTECT, syscall.EROFS}
)

// rename puts a file or folder in the place of another. What looks at new files,
// as scanners for viruses do, has them open for a moment, in which they cannot be
// renamed: that is waited for.
func rename(from, to string) error {
	const tries, pause = 10, 20 * time.Millisecond
	for i := 1; ; i++ {
		err := os.Rename(from, to)
		busy := errors.Is(err, windows.ERROR_SHARING_VIOLATION) || errors.Is(err, windows.ERROR_ACCESS_DENIED)
		if !busy || i == tries {
			return err
		}
		time.Sleep(time.Duration(i) * pause)
	}
}

// syncPath waits until the file's content is on the disk. A folder's list of names
// is the file system's own care here.
func syncPath(path string) error {
	st, err := os.Stat(path)
	if err != nil || st.IsDir() {
		return err
	}
	f, err := os.OpenFile(path, os.O_RDWR, 0)
	if err != nil {
		return err
	}
	return syncAndClose(f)
}

// makePrivate leaves rights as they are: what lies in a user's folders is for
// that user, and modes say nothing here.
func makePrivate(string, fs.FileMode) error { return nil }
