package ffmpeg

import (
	"os"
	"sync"
	"syscall"
	"unsafe"

	"golang.org/x/sys/windows"
)

// attributes puts a child into a process group of its own, so that what is typed
// at the console reaches it through the context alone.
func attributes() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{CreationFlags: windows.CREATE_NEW_PROCESS_GROUP}
}

// interrupt asks a child to close its files and end, as Ctrl-Break does, which is
// what can be sent to one group. Without a console nobody can ask, and it is ended.
func interrupt(p *os.Process) error {
	if windows.GenerateConsoleCtrlEvent(windows.CTRL_BREAK_EVENT, uint32(p.Pid)) == nil {
		return nil
	}
	return p.Kill()
}

// signalOf is "": the system ends no process by a signal.
func signalOf(*os.ProcessState) string { return "" }

// job holds all children: when its last handle goes, with this process however it
// ends, the system ends them. It is 0 where there is none.
var job = sync.OnceValue(func() windows.Handle {
	h, err := windows.CreateJobObject(nil, nil)
	if err != nil {
		return 0
	}
	var info windows.JOBOBJECT_EXTENDED_LIMIT_INFORMATION
	info.BasicLimitInformation.LimitFlags = windows.JOB_OBJECT_LIMIT_KILL_ON_JOB_CLOSE
	_, err = windows.SetInformationJobObject(h, windows.JobObjectExtendedLimitInformation,
		uintptr(unsafe.Pointer(&info)), uint32(unsafe.Sizeof(info)))
	if err != nil {
		windows.CloseHandle(h)
		return 0
	}
	return h
})

// limit ties a child's life to this process. What it takes is not bounded here.
func limit(pid int, _ Limits) {
	h := job()
	if h == 0 {
		return
	}
	child, err := windows.OpenProcess(windows.PROCESS_SET_QUOTA|windows.PROCESS_TERMINATE, false, uint32(pid))
	if err != nil {
		return
	}
	defer windows.CloseHandle(child)
	_ = windows.AssignProcessToJobObject(h, child) // done without where that is refused
}

// peakMemory is not known here.
func peakMemory(*os.ProcessState) int64 { return 0 }
