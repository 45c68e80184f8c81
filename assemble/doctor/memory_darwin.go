package doctor

import "golang.org/x/sys/unix"

// memory returns the bytes of memory of this machine, 0 when nobody knows.
func memory() int64 {
	n, err := unix.SysctlUint64("hw.memsize")
	if err != nil {
		return 0
	}
	return int64(n)
}
