package doctor

import (
	"unsafe"

	"golang.org/x/sys/windows"
)

// memoryStatus is MEMORYSTATUSEX of sysinfoapi.h.
type memoryStatus struct {
	length, load                                      uint32
	total, available, totalPage, availablePage        uint64
	totalVirtual, availableVirtual, availableExtended uint64
}

var globalMemoryStatusEx = windows.NewLazySystemDLL("kernel32.dll").NewProc("GlobalMemoryStatusEx")

// memory returns the bytes of memory of this machine, 0 when nobody knows.
func memory() int64 {
	s := memoryStatus{}
	s.length = uint32(unsafe.Sizeof(s))
	if ok, _, _ := globalMemoryStatusEx.Call(uintptr(unsafe.Pointer(&s))); ok == 0 {
		return 0
	}
	return int64(s.total)
}
