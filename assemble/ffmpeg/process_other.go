//go:build !unix && !windows

package ffmpeg

import (
	"os"
	"syscall"
)

// attributes asks nothing of these systems.
func attributes() *syscall.SysProcAttr { return nil }

// interrupt ends the child at once: these systems have no signal that asks.
func interrupt(p *os.Process) error { return p.Kill() }

// signalOf returns "": these systems end a process without a signal.
func signalOf(*os.ProcessState) string { return "" }
