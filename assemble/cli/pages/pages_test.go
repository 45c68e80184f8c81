package pages

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// Every verb has its page, shells get their completions, and the same day gives the
// same bytes.
func TestPages(t *testing.T) {
	day := time.Date(2031, 5, 4, 0, 0, 0, 0, time.UTC)
	a, b := t.TempDir(), t.TempDir()
	for _, dir := range []string{a, b} {
		if err := Write(dir, day); err != nil {
			t.Fatal(err)
		}
	}
	files := 0
	err := filepath.Walk(a, func(path string, info os.FileInfo, err error) error {
		if err != nil || info.IsDir() {
			return err
		}
		files++
		rel, _ := filepath.Rel(a, path)
		one, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		two, err := os.ReadFile(filepath.Join(b, rel))
		if err != nil {
			return err
		}
		if string(one) != string(two) {
			t.Errorf("%s differs from one time to the next", rel)
		}
		if strings.HasSuffix(rel, ".1") && !strings.Contains(string(one), "May 2031") {
			t.Errorf("%s has not the day it was given: %.200s", rel, one)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 20 {
		t.Errorf("only %d files", files)
	}
	for file, want := range map[string]string{
		"man/ripieno.1":            "Exit codes",
		"man/ripieno-render.1":     "allow-missing-release",
		"man/ripieno-doctor.1":     "bundle",
		"completions/ripieno.bash": "__ripieno",
		"completions/_ripieno":     "#compdef ripieno",
		"completions/ripieno.fish": "complete -c ripieno",
		"completions/ripieno.ps1":  "Register-ArgumentCompleter",
	} {
		data, err := os.ReadFile(filepath.Join(a, filepath.FromSlash(file)))
		if err != nil || !strings.Contains(string(data), want) {
			t.Errorf("%s has no %q: %v", file, want, err)
		}
	}
}
