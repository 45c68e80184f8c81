package fault

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"
	"testing"
)

// TestWhatAPersonReads: where, what and hint as they are printed, with any of
// them left out.
func TestWhatAPersonReads(t *testing.T) {
	mark := Mark{"production.yaml", 12, 5}
	for _, c := range []struct {
		name              string
		err               error
		message, printed  string
		kind              Kind
		underneath        error
		where, what, hint string // of the first fault, when there is one
	}{
		{"all of it", At(Manifest, mark, `unknown key "plyer"`, `did you mean "player"?`),
			`production.yaml:12:5: unknown key "plyer"`,
			"production.yaml:12:5: unknown key \"plyer\"\n  hint: did you mean \"player\"?",
			Manifest, nil, "production.yaml:12:5", `unknown key "plyer"`, `did you mean "player"?`},
		{"no hint", New(Media, "intake/a.mov", "no picture", ""), "intake/a.mov: no picture",
			"intake/a.mov: no picture",
			Media, nil, "intake/a.mov", "no picture", ""},
		{"nowhere", New(Failed, "", "the disk is full", "make room"), "the disk is full",
			"the disk is full\n  hint: make room",
			Failed, nil, "", "the disk is full", "make room"},
		{"with a cause", New(FFmpeg, "ffmpeg", "cannot be started", "install it").Because(fs.ErrNotExist),
			"ffmpeg: cannot be started: file does not exist",
			"ffmpeg: cannot be started: file does not exist\n  hint: install it",
			FFmpeg, fs.ErrNotExist, "ffmpeg", "cannot be started", "install it"},
		{"wrapped", fmt.Errorf("take %q: %w", "oboe", New(Decision, "", "not placed", "write cue_at")),
			`take "oboe": not placed`, "not placed\n  hint: write cue_at", Decision, nil, "", "not placed",
			"write cue_at"},
		{"a bug", fmt.Errorf("store: %w", fs.ErrClosed), "store: file already closed", "store: file already closed",
			Failed, fs.ErrClosed, "", "", ""},
		{"a list", List{New(Manifest, "b", "two", "mend b"), New(Media, "a", "one", "").Because(fs.ErrExist)}.Err(),
			"b: two\na: one: file already exists", "b: two\n  hint: mend b\na: one: file already exists", Manifest,
			fs.ErrExist, "b", "two", "mend b"},
		{"a wrapped list", fmt.Errorf("check: %w", List{New(Media, "a", "one", "mend a")}.Err()),
			"check: a: one", "a: one\n  hint: mend a", Media, nil, "a", "one", "mend a"},
	} {
		if got := c.err.Error(); got != c.message {
			t.Errorf("%s: the message is %q, want %q", c.name, got, c.message)
		}
		if got := Format(c.err); got != c.printed {
			t.Errorf("%s: printed as\n%s\nwant\n%s", c.name, got, c.printed)
		}
		if got := KindOf(c.err); got != c.kind {
			t.Errorf("%s: kind %d, want %d", c.name, got, c.kind)
		}
		if c.underneath != nil && !errors.Is(c.err, c.underneath) {
			t.Errorf("%s: %v is not found beneath", c.name, c.underneath)
		}
		var f *Fault
		if found := errors.As(c.err, &f); found != (c.what != "") || found &&
			(f.Where != c.where || f.What != c.what || f.Hint != c.hint) {
			t.Errorf("%s: the fault is %+v", c.name, f)
		}
	}
}

// TestMarks leave out what is not known.
func TestMarks(t *testing.T) {
	for m, want := range map[Mark]string{
		{}: "", {File: "a.yaml"}: "a.yaml", {File: "a.yaml", Column: 3}: "a.yaml",
		{File: "a.yaml", Line: 2}: "a.yaml:2", {"a.yaml", 2, 3}: "a.yaml:2:3",
	} {
		if got := m.String(); got != want {
			t.Errorf("%+v is %q, want %q", m, got, want)
		}
	}
}

// TestKindsAreExitCodes: the numbers of the README's table, which scripts go by.
func TestKindsAreExitCodes(t *testing.T) {
	for k, want := range map[Kind]int{Failed: 1, Manifest: 2, Media: 3, FFmpeg: 4, Decision: 5} {
		if k.ExitCode() != want {
			t.Errorf("kind %d exits with %d, want %d", k, k.ExitCode(), want)
		}
	}
}

// TestAListIsInOrderOfPlace, and what has none or the same keeps its order.
func TestAListIsInOrderOfPlace(t *testing.T) {
	var l List
	if l.Err() != nil {
		t.Error("an empty list is an error")
	}
	l.Add(nil)
	if len(l) != 0 {
		t.Error("nothing was added")
	}
	for _, f := range []struct {
		file         string
		line, column int
	}{{"p.yaml", 10, 1}, {"p.yaml", 9, 7}, {"a.yaml", 30, 1}, {"p.yaml", 9, 3}, {"p.yaml", 10, 1}, {"", 0, 0}} {
		l.Add(At(Manifest, Mark{f.file, f.line, f.column}, fmt.Sprint(len(l)), ""))
	}
	err := l.Err()
	var what []string
	for _, line := range strings.Split(err.Error(), "\n") {
		what = append(what, line[strings.LastIndex(line, " ")+1:])
	}
	if want := []string{"5", "2", "3", "1", "0", "4"}; !slices.Equal(what, want) {
		t.Errorf("in order: %q, want %q\n%v", what, want, err)
	}
}
