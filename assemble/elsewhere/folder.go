package elsewhere

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"syscall"
)

// folderPrefix begins the names of folders in which machines work: then come the host,
// the process and some letters by chance.
const folderPrefix = "ripieno-work-"

// workFolder makes a folder for this process, and removes those of processes of this
// host that were killed: takes that others sent must not lie about.
func workFolder() (string, error) {
	host, _ := os.Hostname()
	mine := folderPrefix + plainName(host) + "."
	old, err := filepath.Glob(filepath.Join(os.TempDir(), mine+"*"))
	if err != nil {
		return "", err
	}
	for _, dir := range old {
		if pid, ok := ownerOf(dir, mine); ok && !isAlive(pid) {
			_ = os.RemoveAll(dir) // another user's cannot be
		}
	}
	return os.MkdirTemp("", fmt.Sprintf("%s%d.*", mine, os.Getpid()))
}

// ownerOf returns the process that made a folder. ok is false for a folder that only
// begins like one of ours.
func ownerOf(dir, prefix string) (pid int, ok bool) {
	number, _, ok := strings.Cut(strings.TrimPrefix(filepath.Base(dir), prefix), ".")
	pid, err := strconv.Atoi(number)
	return pid, ok && err == nil && pid > 0
}

// isAlive reports whether there is a process, as far as can be told. A number that
// another process has by now counts as alive: the folder is then left until that
// ends.
func isAlive(pid int) bool {
	p, err := os.FindProcess(pid)
	if err != nil {
		return false
	}
	defer func() { _ = p.Release() }()
	return !errors.Is(p.Signal(syscall.Signal(0)), os.ErrProcessDone)
}
