package doctor

import "golang.org/x/sys/unix"

// memory returns the bytes of memory of this machine, 0 when nobody knows.
func memory() int64 {
	var info unix.Sysinfo_t
	if unix.Sysinfo(&info) != nil {
		return 0
	}
	return int64(uint64(info.Totalram) * uint64(info.Unit))
}
