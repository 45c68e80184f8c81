//go:build !linux && !windows

package ffmpeg

import "os"

// limit does nothing: only Linux bounds another process.
func limit(int, Limits) {}

// peakMemory is not known.
func peakMemory(*os.ProcessState) int64 { return 0 }
