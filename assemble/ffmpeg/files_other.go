//go:build !unix

package ffmpeg

// RaiseFileLimit returns how many files a process may have open, which nothing
// raises here: the C library that ffmpeg is built with keeps 8192 on Windows.
func RaiseFileLimit() (uint64, error) { return 8192, nil }
