//go:build unix

package ffmpeg

import (
	"os"
	"syscall"
)

// interrupt asks a child to close its files and end. ffmpeg gives up at once
// on a second one, so it is sent once.
func interrupt(p *os.Process) error { return p.Signal(os.Interrupt) }

// signalOf names the signal that ended a process, "" when none did. ffmpeg
// catches its first interrupts and exits with 255 then, which is not told
// apart here: only this program's context interrupts its children.
func signalOf(s *os.ProcessState) string {
	if ws, ok := s.Sys().(syscall.WaitStatus); ok && ws.Signaled() {
		return ws.Signal().String()
	}
	return ""
}
