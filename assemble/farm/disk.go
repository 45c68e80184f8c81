package farm

import (
	"errors"
	"io/fs"
	"syscall"
)

// isDisk reports whether err is this machine's disk and not the order's fault.
func isDisk(err error) bool {
	return errors.Is(err, syscall.ENOSPC) || errors.Is(err, fs.ErrPermission)
}
