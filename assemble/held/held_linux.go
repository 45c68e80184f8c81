package held

import (
	"os"
	"strconv"
)

// Name returns the name under which a process opens again what it has under that
// descriptor: a link of the system that leads to the file itself, not to its name.
func Name(fd uintptr) string { return "/proc/self/fd/" + strconv.FormatUint(uint64(fd), 10) }

// canReopen tells whether there are such names here: a container may lack /proc.
func canReopen(f *os.File) bool {
	is, err := f.Stat()
	if err != nil {
		return false
	}
	again, err := os.Stat(Name(f.Fd()))
	return err == nil && os.SameFile(is, again)
}
