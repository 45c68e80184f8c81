//go:build unix

package ffmpeg

import "syscall"

// RaiseFileLimit lets this process and the ffmpeg it starts open as many files
// as the system allows them, and returns that number. Go raises the limit for
// itself but gives children the one it was started with, often 256 or 1024,
// unless the program sets it.
func RaiseFileLimit() (uint64, error) {
	var limit syscall.Rlimit
	if err := syscall.Getrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil {
		return 0, err
	}
	if limit.Cur < limit.Max {
		higher := limit
		higher.Cur = limit.Max
		if syscall.Setrlimit(syscall.RLIMIT_NOFILE, &higher) == nil {
			limit = higher
		}
	} else if err := syscall.Setrlimit(syscall.RLIMIT_NOFILE, &limit); err != nil {
		return 0, err
	}
	return uint64(limit.Cur), nil
}
