package ffmpeg

import (
	"os"
	"runtime"
	"syscall"
	"time"

	"golang.org/x/sys/unix"
)

// limit bounds what a process takes. It is called right after its start; what
// the process does in between is nothing yet.
//
// Data is bounded and not the address space (RLIMIT_AS): every thread that asks
// for memory reserves 64 MB of addresses that it never uses. What a thread has
// for its stack counts as data, so there is room for those of all cores.
func limit(pid int, l Limits) {
	set := func(what int, n int64) {
		if n > 0 {
			// A limit that cannot be set is done without.
			_ = unix.Prlimit(pid, what, &unix.Rlimit{Cur: uint64(n), Max: uint64(n)}, nil)
		}
	}
	if l.Memory > 0 {
		set(unix.RLIMIT_DATA, l.Memory+int64(runtime.NumCPU())*threadMemory)
	}
	set(unix.RLIMIT_FSIZE, l.File)
	set(unix.RLIMIT_CPU, int64(l.CPU/time.Second))
}

// threadMemory is what a decoder's and a filter's thread need for their stacks,
// 8 MB each, and what malloc keeps for them.
const threadMemory = 32 << 20

// peakMemory returns the largest resident size of a process that ended.
func peakMemory(s *os.ProcessState) int64 {
	if u, ok := s.SysUsage().(*syscall.Rusage); ok {
		return u.Maxrss << 10
	}
	return 0
}
