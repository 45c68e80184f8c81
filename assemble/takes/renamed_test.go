package takes

import (
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
)

// lay writes a file of a production's folder.
func lay(t *testing.T, s *session.Session, name, text string) string {
	t.Helper()
	path := filepath.Join(s.Manifest().Dir, filepath.FromSlash(name))
	if err := errors.Join(os.MkdirAll(filepath.Dir(path), 0o777), os.WriteFile(path, []byte(text), 0o666)); err != nil {
		t.Fatal(err)
	}
	return path
}

// A take's file that was renamed or moved is found by its content, and the hint says its
// name; nothing else counts: another content of the same size, another ending, what
// another take has, hidden files, outputs. The take stays unusable until a person writes
// the name.
func TestRenamedFilesAreTold(t *testing.T) {
	const was, text = "intake/oboe.mov", "the sound of an oboe"
	s := opened(t, `version: 1
title: x
tempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 4}
takes:
  - {name: oboe, player: Ada, video: {file: intake/oboe.mov}}
  - {name: horn, player: Ben, video: {file: intake/horn.mov}}
`)
	lay(t, s, "another.mov", strings.Repeat("x", len(text)))
	file := lay(t, s, was, text)
	remember(t, s, file)
	hint := func(name string) string {
		r := &Recording{Owner: "oboe", Role: Video, File: &production.File{Path: name}}
		err := r.probe(t.Context(), s)
		var f *fault.Fault
		if !errors.As(err, &f) || !isFault(err, fault.Media, name, "the file does not exist", "") {
			t.Errorf("%s: %v", name, err)
			return ""
		}
		return f.Hint
	}
	for _, c := range []struct {
		what, now string
		told      bool
	}{
		{"renamed", "intake/x.mov", true},
		{"moved, in other capitals", "later/Violin 2.MOV", true},
		{"the same name elsewhere", "oboe.mov", true},
		{"another ending", "intake/x.mp4", false},
		{"another take's", "intake/horn.mov", false},
		{"hidden", "intake/.x.mov", false},
		{"in a hidden folder", ".old/x.mov", false},
		{"among the outputs", "out/x.mov", false},
	} {
		next := lay(t, s, c.now, "")
		if err := os.Rename(file, next); err != nil {
			t.Fatal(err)
		}
		file = next
		said := fmt.Sprintf("the recording that had this name is %q now: write that name, or rename it back", c.now)
		if got := hint(was); (got == said) != c.told || !c.told && strings.Contains(got, "had this name") {
			t.Errorf("%s: the hint is %q", c.what, got)
		}
	}
	if err := os.Rename(file, lay(t, s, "x.mov", "")); err != nil {
		t.Fatal(err)
	}
	if got := hint("intake/viola.mov"); strings.Contains(got, "had this name") {
		t.Errorf("a file that never was there: the hint is %q", got)
	}
}

// remember has the store remember the content of a file, which it does as soon as that
// has not changed for two seconds.
func remember(t *testing.T, s *session.Session, path string) {
	t.Helper()
	for range 60 {
		if _, err := s.Store().HashFile(t.Context(), path); err != nil {
			t.Fatal(err)
		}
		if _, _, ok := s.Store().Remembered(path); ok {
			return
		}
		time.Sleep(100 * time.Millisecond)
	}
	t.Fatal("not remembered")
}
