package main

import (
	"archive/tar"
	"archive/zip"
	"bytes"
	"compress/gzip"
	"errors"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"
)

// folder makes the files of a release, written in the given order.
func folder(t *testing.T, names ...string) string {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "ripieno-1.2.0")
	for _, name := range names {
		path := filepath.Join(dir, filepath.FromSlash(name))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		mode := os.FileMode(0o600)
		if name == "ripieno" {
			mode = 0o700
		}
		if err := os.WriteFile(path, []byte("of "+name), mode); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// Archives of the same files are the same, wherever, whenever and in whatever order
// they were written, and hold them under the folder's name.
func TestPackIsReproducible(t *testing.T) {
	one := folder(t, "ripieno", "man/ripieno.1", "README.md")
	two := folder(t, "README.md", "man/ripieno.1", "ripieno")
	old := time.Date(2020, 1, 2, 3, 4, 5, 0, time.UTC)
	if err := os.Chtimes(filepath.Join(two, "README.md"), old, old); err != nil {
		t.Fatal(err)
	}
	for _, ending := range []string{".tar.gz", ".zip"} {
		var all [][]byte
		for _, dir := range []string{one, two} {
			out := filepath.Join(t.TempDir(), "x"+ending)
			if err := pack([]string{"1900000000", out, dir}); err != nil {
				t.Fatal(err)
			}
			data, err := os.ReadFile(out)
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, data)
		}
		if !bytes.Equal(all[0], all[1]) {
			t.Errorf("%s: two archives of the same files differ", ending)
		}
		want := []string{"ripieno-1.2.0/README.md 644", "ripieno-1.2.0/man/ripieno.1 644", "ripieno-1.2.0/ripieno 755"}
		if got := list(t, ending, all[0]); !slices.Equal(got, want) {
			t.Errorf("%s holds %q, want %q", ending, got, want)
		}
	}
}

// list returns the names and modes in an archive.
func list(t *testing.T, ending string, data []byte) (all []string) {
	t.Helper()
	mode := func(m os.FileMode) string { return " " + strings.TrimLeft(octal(m), "0") }
	if ending == ".zip" {
		r, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range r.File {
			all = append(all, f.Name+mode(f.Mode()))
		}
		return all
	}
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	for r := tar.NewReader(z); ; {
		h, err := r.Next()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatal(err)
		}
		if !h.ModTime.Equal(time.Unix(1900000000, 0)) || h.Uid != 0 || h.Uname != "" {
			t.Errorf("%s is of %v and belongs to %d %q", h.Name, h.ModTime, h.Uid, h.Uname)
		}
		all = append(all, h.Name+mode(h.FileInfo().Mode()))
	}
}

func octal(m os.FileMode) string {
	p := m.Perm()
	return string([]byte{'0' + byte(p>>6), '0' + byte(p>>3&7), '0' + byte(p&7)})
}

// A link in a release is a mistake and no file.
func TestPackRefusesLinks(t *testing.T) {
	dir := folder(t, "README.md")
	if err := os.Symlink("README.md", filepath.Join(dir, "x")); err != nil {
		t.Skip(err)
	}
	if err := pack([]string{"0", filepath.Join(t.TempDir(), "x.zip"), dir}); err == nil {
		t.Error("a link was packed")
	}
	if err := pack([]string{"0"}); err == nil {
		t.Error("wrong usage was taken")
	}
}
