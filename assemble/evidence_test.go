package assemble

import (
	"bytes"
	"errors"
	"fmt"
	"image/png"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"ripieno/layout/card"
)

// TestSyncIsIncremental: what has been measured is not measured again, a new
// take costs one take, and the picture is drawn anew only when it changes.
func TestSyncIsIncremental(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	for i, name := range []string{"late.wav", "early.wav", "third.wav"} {
		playSteadily(t, dir, name, 0.1*float64(i), 0.01*float64(i), 4, 1+2*i)
	}
	takes := func(names ...string) string {
		list := "takes:\n"
		for _, n := range names {
			list += fmt.Sprintf("  - {name: %s, audio: {file: intake/%s.wav}}\n", n, n)
		}
		return list
	}
	was := timingManifest[strings.Index(timingManifest, "takes:"):strings.Index(timingManifest, "mix:")]
	picture := filepath.Join(dir, "out", "sync.png")
	sync := func(list string) (SyncResult, []byte) {
		t.Helper()
		p := openTiming(t, dir, was, list)
		defer p.Close()
		r, err := p.Sync(t.Context(), SyncOptions{})
		if err != nil {
			t.Fatal(err)
		}
		data, err := os.ReadFile(picture)
		if err != nil || len(r.PNG) != 1 || r.PNG[0] != picture {
			t.Fatalf("the picture: %v, %v", r.PNG, err)
		}
		return r, data
	}
	const perFile = 2 // decoding it and listening to it
	first, drawn := sync(takes("late", "early"))
	if first.Tasks != (TaskCount{Run: 2 * perFile}) {
		t.Errorf("two files: %+v", first.Tasks)
	}
	stamp := time.Date(2030, 1, 2, 3, 4, 5, 0, time.UTC)
	if err := os.Chtimes(picture, stamp, stamp); err != nil {
		t.Fatal(err)
	}
	again, _ := sync(takes("late", "early"))
	if again.Tasks.Run != 0 || again.Tasks.Reused != 2*perFile {
		t.Errorf("nothing new: %+v", again.Tasks)
	}
	if info, err := os.Stat(picture); err != nil || !info.ModTime().Equal(stamp) {
		t.Errorf("an unchanged picture was written again (%v)", err)
	}
	if err := os.Remove(picture); err != nil {
		t.Fatal(err)
	}
	if _, got := sync(takes("late", "early")); !bytes.Equal(got, drawn) {
		t.Error("the same picture has other bytes")
	}
	more, redrawn := sync(takes("late", "early", "third"))
	if more.Tasks.Run != perFile || more.Tasks.Reused != 2*perFile {
		t.Errorf("one take more: %+v", more.Tasks)
	}
	if bytes.Equal(redrawn, drawn) {
		t.Error("a take more, and the picture is the same")
	}
	moved, other := sync(strings.Replace(takes("late", "early", "third"), "early.wav", "early.wav, cue_at: 5", 1))
	if moved.Tasks.Run != 0 || bytes.Equal(other, redrawn) {
		t.Errorf("another cue_at: %+v, the same picture: %v", moved.Tasks, bytes.Equal(other, redrawn))
	}
}

// More takes than one picture holds make pages, and pages that are no longer
// needed go.
func TestSyncPages(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	writePings(t, filepath.Join(dir, "intake", "short.wav"), 2, []ping{{1, 440, 0.3}})
	for _, c := range []struct{ takes, pages int }{{card.MaxSyncRows + 1, 2}, {3, 1}} {
		list := ""
		for i := range c.takes {
			list += fmt.Sprintf("  - {name: t%d, player: 山 %d, audio: {file: intake/short.wav, offset: 8}}\n", i, i)
		}
		p := openTest(t, dir, strings.Replace(timingManifest,
			timingManifest[strings.Index(timingManifest, "  - "):strings.Index(timingManifest, "mix:")], list, 1))
		r, err := p.Sync(t.Context(), SyncOptions{})
		if err != nil {
			t.Fatal(err)
		}
		p.Close()
		if len(r.PNG) != c.pages {
			t.Errorf("%d takes on %d pages: %q", c.takes, len(r.PNG), r.PNG)
		}
		for _, path := range r.PNG {
			f, err := os.Open(path)
			if err != nil {
				t.Fatal(err)
			}
			if _, err := png.DecodeConfig(f); err != nil {
				t.Errorf("%s: %v", path, err)
			}
			f.Close()
		}
		if _, err := os.Stat(filepath.Join(dir, "out", "sync-2.png")); errors.Is(err,
			fs.ErrNotExist) != (c.pages == 1) {
			t.Errorf("%d pages, and of the second: %v", c.pages, err)
		}
	}
}

// TestTheScorePlacesAPart: even quarters without a clap lie anywhere, until the
// part of the same name says where they rest.
func TestTheScorePlacesAPart(t *testing.T) {
	t.Parallel()
	for _, scored := range []bool{true, false} {
		p := openReview(t)
		p.Manifest().Takes[0].Audio.Offset = nil
		if !scored {
			p.Manifest().Takes[0].Part = "Oboe 2"
		}
		all, err := p.locate(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		got := all.Takes[0].Audio.Place
		if said := slices.Contains(got.Evidence, "the notes begin where the score has them"); said != scored {
			t.Errorf("score %v: %+v", scored, got)
		}
		if scored && math.Abs(got.Offset+1) > 0.02 {
			t.Errorf("the oboe lies at %.3f, want -1: %+v", got.Offset, got)
		}
		if !scored && got.Sure {
			t.Errorf("sure without a clap and without a score: %+v", got)
		}
	}
}
