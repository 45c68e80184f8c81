package ffmpeg

import "syscall"

// attributes puts a child into a process group of its own and has the kernel
// kill it when the thread that started it ends. Go ends a thread only when a
// goroutine exits that had locked itself to it, which nothing in this program
// does, so in practice that is the end of this process, however it came.
func attributes() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Setpgid: true, Pdeathsig: syscall.SIGKILL}
}
