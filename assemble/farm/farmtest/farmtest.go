// Package farmtest starts, for tests, what an administrator runs: the engine's own server,
// built from the module proxy at the release that go.mod names, in a process of its own.
package farmtest

import (
	"context"
	"encoding/json"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

// module is the program of the engine's own server.
const module = "github.com/nats-io/nats-server/v2"

// Build builds the server into a folder of the test and returns its path. Its packages are
// those of the hub, so only linking it is work. Without a go command, as on a machine that
// runs tests built elsewhere, the test is left out.
func Build(t testing.TB) string {
	t.Helper()
	if _, err := exec.LookPath("go"); err != nil && os.Getenv("CI") == "" {
		t.Skipf("no server of an administrator can be built here: %v", err)
	}
	program := filepath.Join(t.TempDir(), "nats-server")
	if runtime.GOOS == "windows" {
		program += ".exe"
	}
	build := exec.CommandContext(t.Context(), "go", "build", "-o", program, module)
	if text, err := build.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
	return program
}

// Server is a server in a process of its own.
type Server struct {
	*exec.Cmd
	Address string // HOST:PORT on which it listens
}

// Start starts a server by a configuration, on the port that it has there replaced by a
// free one, or by that of address when it is to come back. It ends with the test.
func Start(t testing.TB, program, config, address string) Server {
	t.Helper()
	dir, port := t.TempDir(), "-1"
	if address != "" {
		port = address[strings.LastIndexByte(address, ':')+1:]
	}
	cmd := exec.CommandContext(t.Context(), program, "-c", config, "-a", "127.0.0.1", "-p", port,
		"--ports_file_dir", dir)
	log, err := os.Create(filepath.Join(dir, "log"))
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stdout, cmd.Stderr = log, log
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	s := Server{cmd, ""}
	t.Cleanup(func() {
		_ = cmd.Process.Kill()
		_ = cmd.Wait()
		log.Close()
	})
	ctx, stop := context.WithTimeout(t.Context(), time.Minute)
	defer stop()
	for ctx.Err() == nil {
		if s.Address = listening(dir); s.Address != "" {
			return s
		}
		select {
		case <-ctx.Done():
		case <-time.After(20 * time.Millisecond):
		}
	}
	said, err := os.ReadFile(log.Name())
	t.Fatalf("the server does not come up: %s, %v", said, err)
	return s
}

// listening returns where the server says in a folder that it listens; "" while it does not.
func listening(dir string) string {
	files, err := filepath.Glob(filepath.Join(dir, "*.ports"))
	if err != nil || len(files) == 0 {
		return ""
	}
	var ports struct {
		Nats []string `json:"nats"`
	}
	data, err := os.ReadFile(files[0])
	if err != nil || json.Unmarshal(data, &ports) != nil || len(ports.Nats) == 0 {
		return "" // it is being written
	}
	u, err := url.Parse(ports.Nats[0])
	if err != nil {
		return ""
	}
	return u.Host
}

// Reload has a server read its configuration again.
func (s Server) Reload(t testing.TB, program string) {
	t.Helper()
	cmd := exec.CommandContext(t.Context(), program, "--signal", fmt.Sprintf("reload=%d", s.Process.Pid))
	if text, err := cmd.CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, text)
	}
}

// Kill ends the server as kill -9 does, and waits until it is gone.
func (s Server) Kill(t testing.TB) {
	t.Helper()
	if err := s.Process.Kill(); err != nil {
		t.Error(err)
	}
	_ = s.Wait()
}
