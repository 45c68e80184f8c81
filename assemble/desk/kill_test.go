package desk

import (
	"bufio"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"ripieno/assemble/manifest"
)

// writer is set in the process that is killed, to the folder it writes in.
const writer = "RIPIENO_TEST_DESK_WRITER"

// TestKilledAtAnyMoment: a desk that is killed while it writes leaves the manifest as
// it was before a change or as it is after it, and the next one goes on.
func TestKilledAtAnyMoment(t *testing.T) {
	if dir := os.Getenv(writer); dir != "" {
		writeForEver(t, dir)
	}
	dir := t.TempDir()
	path := filepath.Join(dir, "production.yaml")
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	whole := regexp.MustCompile("^" + strings.Replace(regexp.QuoteMeta(text), "gain: 1\\}", `gain: -?[\d.]+\}`, 1) +
		"$")
	for kill := range 6 {
		cmd := exec.Command(os.Args[0], "-test.run", "^TestKilledAtAnyMoment$")
		cmd.Env = append(os.Environ(), writer+"="+dir)
		out, err := cmd.StdoutPipe()
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		lines := bufio.NewScanner(out)
		for range 3 + 7*kill { // at another moment each time
			if !lines.Scan() {
				t.Fatal("the writer ended by itself")
			}
		}
		if err := cmd.Process.Kill(); err != nil {
			t.Fatal(err)
		}
		_ = cmd.Wait() // it was killed
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := manifest.Parse(path, data); err != nil || !whole.Match(data) {
			t.Fatalf("after a kill there is %v\n%s", err, data)
		}
	}
	if left, err := filepath.Glob(filepath.Join(dir, ".production.*")); err != nil || len(left) > 1 {
		t.Errorf("killed writers have left %q, and each may leave what the next one takes away", left)
	}
}

// writeForEver changes a gain again and again until it is killed.
func writeForEver(t *testing.T, dir string) {
	h := newHistory(dir, filepath.Join(dir, "production.yaml"))
	for i := 0; ; i++ {
		data, err := h.read()
		if err != nil {
			t.Fatal(err)
		}
		err = h.change(t.Context(), version(data), "gain", nil, func(data []byte) ([]byte, error) {
			return manifest.Apply(data, h.man, []manifest.Change{{Take: "horn", Keys: []string{"gain"},
				Value: fmt.Sprint(float64(i%40) / 2)}})
		})
		if err != nil {
			t.Fatal(err)
		}
		fmt.Println(i)
	}
}
