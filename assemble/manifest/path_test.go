package manifest

import (
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"testing"
)

// Paths may be written both ways: what is read is the same, and the person is told
// the way that is right everywhere. A file whose own name has a backslash in it is
// still found where there can be one.
func TestPathsWrittenBothWays(t *testing.T) {
	const text = `version: 1
title: Small Round
tempo: {changes: [{measure: 1, meter: 4/4, bpm: 60}], measures: 2}
deliver: [{name: final, canvas: 320x180}]
takes:
  - {name: oboe, player: Mara Voss, part: Oboe, video: {file: intake\day 1\oboe.mp4}}
  - {name: horn, player: Ilse Horn, part: Horn, video: {file: intake/horn.mp4}}
  - {name: tuba, player: Otto Larch, part: Tuba, audio: {file: 'odd\name.wav'}}
`
	dir := t.TempDir()
	odd := "odd/name.wav"
	advice := 2
	if runtime.GOOS != "windows" {
		odd, advice = `odd\name.wav`, 1
		if err := os.WriteFile(filepath.Join(dir, odd), nil, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	p, err := Parse(filepath.Join(dir, FileName), []byte(text))
	if err != nil {
		t.Fatal(err)
	}
	got := []string{p.Takes[0].Video.Path, p.Takes[1].Video.Path, p.Takes[2].Audio.Path}
	if want := []string{"intake/day 1/oboe.mp4", "intake/horn.mp4", odd}; !slices.Equal(got, want) {
		t.Errorf("read as %q, want %q", got, want)
	}
	want := filepath.Join(dir, FileName) + `:6:63: "intake\\day 1\\oboe.mp4" is read as intake/day 1/oboe.mp4; ` +
		"write it so, which is right on every system"
	if len(p.Advice) != advice || p.Advice[0] != want {
		t.Errorf("told %q, want %q", p.Advice, want)
	}
}

// A whole path through a folder called as the production's says what to write.
func TestInsideOf(t *testing.T) {
	for _, c := range []struct{ path, want string }{
		{`C:\Users\Mara\Round\intake\oboe.mov`, "intake/oboe.mov"},
		{`d:/round/oboe.mov`, "oboe.mov"},
		{"/home/mara/round/round/oboe.mov", "oboe.mov"},
		{`C:\Users\Mara\Videos\oboe.mov`, ""},
		{`C:\round`, ""},
		{"intake/round/oboe.mov", ""},
	} {
		if got := insideOf("/srv/Round", c.path); got != c.want {
			t.Errorf("%s: %q, want %q", c.path, got, c.want)
		}
	}
}
