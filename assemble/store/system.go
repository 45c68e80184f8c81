package store

import (
	"io/fs"
	"os"
	"path/filepath"
	"time"
)

// system is every call by which the store changes the disk or asks the time.
// Tests replace single functions to make a disk fill up, a sync fail or the
// clock jump; the rest stays real.
type system struct {
	now       func() time.Time
	pause     func(time.Duration)
	mkdir     func(path string) error                   // with parents; existing is fine
	scratch   func(dir, pattern string) (string, error) // a new folder
	write     func(path string, data []byte) error      // whole file, truncating
	appendTo  func(path string, data []byte) error
	sync      func(path string) error // a file or a folder
	rename    func(from, to string) error
	remove    func(path string) error // with everything below; missing is fine
	touch     func(path string, at time.Time) error
	private   func(path string, mode fs.FileMode) error // takes everybody else's rights away
	freeBytes func(dir string) (int64, error)
}

// realSystem returns the functions of the system that the program runs on.
func realSystem() system {
	return system{
		now:       time.Now,
		pause:     time.Sleep,
		mkdir:     func(path string) error { return os.MkdirAll(path, 0o777) },
		scratch:   os.MkdirTemp,
		write:     func(path string, data []byte) error { return os.WriteFile(path, data, 0o600) },
		appendTo:  appendFile,
		sync:      syncPath,
		rename:    rename,
		remove:    os.RemoveAll,
		touch:     func(path string, at time.Time) error { return os.Chtimes(path, at, at) },
		private:   makePrivate,
		freeBytes: freeBytes,
	}
}

// syncAndClose waits until what an open file holds is on the disk, and closes it either
// way. The first error is returned: a failed sync may lose data that the close would hide.
func syncAndClose(f *os.File) error {
	if err := f.Sync(); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// appendFile adds data to the end of a file, which it makes when it is missing.
func appendFile(path string, data []byte) error {
	f, err := os.OpenFile(path, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		return err
	}
	if _, err := f.Write(data); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

// mark is how a file looked: when any part differs, its bytes may differ. The
// change time (ctime) is in it because nobody can set it back by hand, as
// copying tools do with the modification time.
type mark struct {
	Size  int64  `json:"size"`
	Mtime int64  `json:"mtime"` // nanoseconds since 1970
	Ctime int64  `json:"ctime"` // nanoseconds since 1970
	Inode uint64 `json:"inode"`
}

// newest returns the later of the two times, in nanoseconds since 1970.
func (m mark) newest() int64 { return max(m.Mtime, m.Ctime) }

// replace puts data at path whole or not at all, and durably.
func (sys system) replace(path, temp string, data []byte) error {
	if err := sys.write(temp, data); err != nil {
		return err
	}
	if err := sys.sync(temp); err != nil {
		return err
	}
	if err := sys.rename(temp, path); err != nil {
		return err
	}
	return sys.sync(filepath.Dir(path))
}

// Free returns how many bytes this user may still write to the disk of a folder that is
// there. It fails for a folder that is not there.
func Free(dir string) (int64, error) { return freeBytes(dir) }
