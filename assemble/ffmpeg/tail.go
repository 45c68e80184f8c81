package ffmpeg

import (
	"bytes"
	"slices"
	"strings"
	"sync"
)

// tail keeps the last lines of a log within a fixed amount of memory: a
// damaged file makes ffmpeg write a line for every packet. The lock is for the
// case that a killed program's pipe is still being read when Run gives up.
type tail struct {
	mu    sync.Mutex
	lines []string
	part  []byte
	full  bool // a line said that the disk is full
}

const (
	tailLines = 20
	tailLine  = 400 // bytes kept of one line
)

// Write implements io.Writer and never fails.
func (t *tail) Write(p []byte) (int, error) {
	t.mu.Lock()
	defer t.mu.Unlock()
	n := len(p)
	for len(p) > 0 {
		// Status lines end in a carriage return only.
		end := bytes.IndexAny(p, "\r\n")
		part := p
		if end >= 0 {
			part = p[:end]
		}
		// Long lines keep their end, which is where the cause stands.
		t.part = append(t.part, part...)
		if over := len(t.part) - tailLine; over > 0 {
			t.part = append(t.part[:0], t.part[over:]...)
		}
		if end < 0 {
			break
		}
		t.flush()
		p = p[end+1:]
	}
	return n, nil
}

// flush moves the line being built to the kept lines.
func (t *tail) flush() {
	line := strings.TrimSpace(strings.ToValidUTF8(string(t.part), "?"))
	t.part = t.part[:0]
	if line == "" {
		return
	}
	if diskFull(line) {
		t.full = true
	}
	if len(t.lines) == tailLines {
		copy(t.lines, t.lines[1:])
		t.lines = t.lines[:tailLines-1]
	}
	t.lines = append(t.lines, line)
}

// end returns the kept lines, and whether any line spoke of a full disk.
func (t *tail) end() (lines []string, full bool) {
	t.mu.Lock()
	defer t.mu.Unlock()
	t.flush()
	return slices.Clone(t.lines), t.full
}

// diskFull reports whether a log line ends in the system's words for a full disk
// or a used-up quota (ENOSPC, EDQUOT). ffmpeg exits with 0 when the disk fills
// while it writes the trailer, so the words are the only sign.
func diskFull(line string) bool {
	return strings.HasSuffix(line, "No space left on device") || strings.HasSuffix(line, "Disk quota exceeded")
}
