package cli_test

import (
	"bufio"
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/rogpeppe/go-internal/testscript"
)

func init() { troubles["alone"] = alone }

// alone looks at the program as soon as a stage begins, and ends it: alone STAGE COMMAND.
// It fails when the program has a socket then, or a goroutine of the engine by which other
// machines are reached. With ! it fails when there is neither, at the first line that the
// program prints.
func alone(ts *testscript.TestScript, neg bool, args []string) {
	stage := args[0]
	words := append([]string{}, args[1:]...)
	if !neg {
		words = append(words, "--progress", "json")
	}
	cmd := command(ts, words)
	told, err := cmd.StderrPipe()
	ts.Check(err)
	said, err := cmd.StdoutPipe()
	ts.Check(err)
	ts.Check(cmd.Start())
	lines := bufio.NewReader(told)
	if neg {
		_, err = bufio.NewReader(said).ReadString('\n')
	} else {
		err = awaitStage(lines, stage)
	}
	if err != nil {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		ts.Fatalf("%q never came to %s: %v", words, stage, err)
	}
	found := engineIn(ts, cmd, lines)
	switch {
	case neg && len(found) < 2:
		ts.Fatalf("%q has only %q of sockets and the engine: looking finds nothing", words, found)
	case !neg && len(found) > 0:
		ts.Fatalf("%q has %q", words, found)
	}
}

// awaitStage reads a run's progress until a task of a stage begins.
func awaitStage(lines *bufio.Reader, stage string) error {
	for {
		line, err := lines.ReadBytes('\n')
		if err != nil {
			return err
		}
		var event struct{ Event, Stage string }
		if json.Unmarshal(line, &event) == nil && event.Event == "start" && event.Stage == stage {
			return nil
		}
	}
}

// engineIn ends a process and returns what it had of sockets, and of goroutines in which
// the engine is, as the process itself tells of them when it is ended by SIGQUIT.
func engineIn(ts *testscript.TestScript, cmd *exec.Cmd, told io.Reader) (found []string) {
	files, err := filepath.Glob(fmt.Sprintf("/proc/%d/fd/*", cmd.Process.Pid))
	ts.Check(err)
	for _, f := range files {
		if to, err := os.Readlink(f); err == nil && strings.HasPrefix(to, "socket:") {
			found = append(found, to)
		}
	}
	ts.Check(cmd.Process.Signal(syscall.SIGQUIT))
	var stacks bytes.Buffer
	_, err = io.Copy(&stacks, told)
	ts.Check(err)
	_ = cmd.Wait() // it was ended
	if len(files) == 0 || !strings.Contains(stacks.String(), "goroutine ") {
		ts.Fatalf("nothing is known of the process: %d files, %.200q", len(files), stacks.String())
	}
	for line := range strings.Lines(stacks.String()) {
		if strings.Contains(line, "nats") || strings.Contains(line, "assemble/farm.") {
			found = append(found, strings.TrimSpace(line))
		}
	}
	return found
}
