// Package units_test looks at the units and at the container file.
package units_test

import (
	"errors"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
)

// TestUnitsAreUnderstoodAndClosed has systemd itself read the units, which says what it does
// not understand, and weigh what they may still do: from 0, nothing, to 10. Its own word for
// up to 2 is OK, and what a service without any bounds gets is 9.6.
func TestUnitsAreUnderstoodAndClosed(t *testing.T) {
	t.Parallel()
	if _, err := exec.LookPath("systemd-analyze"); err != nil {
		t.Skipf("units cannot be tried here: %v", err)
	}
	units, err := filepath.Glob("*.service")
	if err != nil || len(units) != 3 {
		t.Fatalf("%v, %v", units, err)
	}
	root := t.TempDir()
	for _, dir := range []string{"etc/systemd/system", "usr/bin"} {
		if err := os.MkdirAll(filepath.Join(root, dir), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	for _, program := range []string{"usr/bin/ripieno", "usr/bin/nats-server"} {
		if err := os.WriteFile(filepath.Join(root, program), []byte("#!/bin/sh\n"), 0o755); err != nil {
			t.Fatal(err)
		}
	}
	analyze := func(words ...string) string {
		text, err := exec.CommandContext(t.Context(), "systemd-analyze", append(words, "--root="+root)...).CombinedOutput()
		if err != nil {
			text = append(text, err.Error()...)
		}
		return string(text)
	}
	for _, u := range units {
		data, err := os.ReadFile(u)
		if err == nil {
			err = os.WriteFile(filepath.Join(root, "etc/systemd/system", u), data, 0o644)
		}
		if err != nil {
			t.Fatal(err)
		}
		if said := analyze("verify", "--man=no", "--recursive-errors=no", "/etc/systemd/system/"+u); said != "" {
			t.Errorf("%s: %s", u, said)
		}
		if said := analyze("security", "--offline=true", "--threshold=20", u); !strings.Contains(said, "OK") {
			t.Errorf("%s: %s", u, said[max(0, len(said)-200):])
		}
	}
}

// TestTheContainerIsOfThisCompiler: classes of machines go by it, and nobody in it is root.
func TestTheContainerIsOfThisCompiler(t *testing.T) {
	t.Parallel()
	file, err := os.ReadFile("../Containerfile")
	mod, err2 := os.ReadFile("../../go.mod")
	if err := errors.Join(err, err2); err != nil {
		t.Fatal(err)
	}
	version := regexp.MustCompile(`(?m)^go (\d+\.\d+)`).FindStringSubmatch(string(mod))
	if version == nil || !strings.Contains(string(file), "golang:"+version[1]+"-") {
		t.Errorf("go.mod says %q", version)
	}
	if !regexp.MustCompile(`(?m)^USER [1-9]\d*$`).Match(file) {
		t.Error("it runs as root")
	}
}
