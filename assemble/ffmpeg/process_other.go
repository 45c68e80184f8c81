//go:build !unix && !windows

package ffmpeg

import (
	"os"
	"syscall"
)

func attributes() *syscall.SysProcAttr { return nil }

// interrupt ends the child at once: these systems have no signal that asks.
func interrupt(p *os.Process) error { return p.Kill() }

func signalOf(*os.ProcessState) string { return "" }
