//go:build unix && !linux

package ffmpeg

import "syscall"

// attributes puts a child into a process group of its own. These systems have
// no way to tie its life to ours: a child of a killed parent runs to its end.
func attributes() *syscall.SysProcAttr { return &syscall.SysProcAttr{Setpgid: true} }
