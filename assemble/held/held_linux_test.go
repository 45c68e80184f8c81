package held

import (
	"errors"
	"io"
	"os"
	"path/filepath"
	"testing"
)

// A file is read whatever stands under its name, from its beginning every time,
// and others are read by their names.
func TestOpen(t *testing.T) {
	path, other := filepath.Join(t.TempDir(), "take"), filepath.Join(t.TempDir(), "other")
	if err := errors.Join(os.WriteFile(path, []byte("take"), 0o666), os.WriteFile(other, []byte("other"), 0o666)); err != nil {
		t.Fatal(err)
	}
	open := func(path string) *os.File {
		f, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		t.Cleanup(func() { f.Close() })
		return f
	}
	first := With(t.Context(), path, open(path))
	ctx := With(first, filepath.Join(filepath.Dir(path), "a second one"), open(other))
	if err := errors.Join(os.Remove(path), os.Symlink(other, path)); err != nil {
		t.Fatal(err)
	}
	read := func(path string) string {
		f, err := Open(ctx, path)
		if err != nil {
			t.Fatal(err)
		}
		defer f.Close()
		text, err := io.ReadAll(f)
		if err != nil {
			t.Fatal(err)
		}
		return string(text)
	}
	for range 2 {
		if got := read(path); got != "take" {
			t.Errorf("the file that is held is %q", got)
		}
	}
	if got := read(other); got != "other" {
		t.Errorf("another file is %q", got)
	}
	if f, err := Open(t.Context(), path); err != nil {
		t.Error(err)
	} else if text, _ := io.ReadAll(f); string(text) != "other" {
		t.Errorf("without a held file the name counts: %q", text)
	}
	closed := open(other)
	closed.Close()
	if With(first, other, closed) != first {
		t.Error("a closed file is held")
	}
}
