package assemble

import (
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/roll"
	"ripieno/assemble/takes"
	"ripieno/mix/audio"
)

// openTwice returns a production of one take that clapped twice, equally clearly and a
// measure apart, and then played an even pulse in which nothing tells a measure
// from the next.
func openTwice(t *testing.T) *Production {
	t.Helper()
	findTool(t)
	dir := t.TempDir()
	const offset = -1.5
	pings := []ping{{2 - offset, 0, 0.08}, {4 - offset, 0, 0.08}}
	for g := 7.0; g < 50; g += 0.5 {
		pings = append(pings, ping{g - offset, 440, 0.2})
	}
	writePings(t, filepath.Join(dir, "intake", "horn.wav"), 56, pings)
	return openTest(t, dir, `version: 1
title: Test Round
tempo:
  count_in: {measures: 4}
  changes: [{measure: 1, meter: 4/4, bpm: 120}]
  measures: 20
release: yes
takes:
  - {name: horn-2, player: Ilse Brandt, audio: {file: intake/horn.wav}}   # clapped twice
`)
}

// TestAcceptWritesACandidate: a take that needs review lists its places; the one
// accepted is written into the manifest, which changes in nothing else, and the
// take is sure from then on.
func TestAcceptWritesACandidate(t *testing.T) {
	t.Parallel()
	p := openTwice(t)
	r, err := p.Sync(t.Context(), SyncOptions{Snippets: true})
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	was := placedNamed(t, r, "horn-2")
	if was.Sure || len(was.Candidates) < 2 {
		t.Fatalf("nothing to decide: %+v", was)
	}
	if len(r.Snippets) != len(was.Candidates) {
		t.Errorf("%d snippets of %d candidates", len(r.Snippets), len(was.Candidates))
	}
	for i, s := range r.Snippets {
		checkSnippet(t, s.Path, was.Candidates[i])
	}
	choice, err := ParseChoice("horn-2=2")
	if err != nil {
		t.Fatal(err)
	}
	if r, err = p.Sync(t.Context(), SyncOptions{Accept: []takes.Choice{choice}}); err != nil || r.Accepted != 1 {
		t.Fatalf("%d accepted, %v", r.Accepted, err)
	}
	if err := roll.SyncVerdict(r.Faults); err != nil {
		t.Errorf("what was accepted is still asked about: %v", err)
	}
	path := filepath.Join(p.Manifest().Dir, manifest.FileName)
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(string(text), "# clapped twice") || strings.Count(string(text), "offset:") != 1 {
		t.Errorf("the manifest became\n%s", text)
	}
	dir := p.Manifest().Dir
	p.Close()
	p = openWith(t, Settings{Dir: dir})
	if r, err = p.Sync(t.Context(), SyncOptions{Snippets: true}); err != nil {
		t.Fatal(fault.Format(err))
	}
	is := placedNamed(t, r, "horn-2")
	if !is.Sure || math.Abs(is.Offset-was.Candidates[1].Offset) > 1e-6 {
		t.Errorf("accepted %+v, placed %+v", was.Candidates[1], is)
	}
	left, err := filepath.Glob(filepath.Join(dir, "out", "snippets", "*.wav"))
	if err != nil || len(left) != 0 || len(r.Snippets) != 0 {
		t.Errorf("snippets of what is decided: %v %v %v", left, r.Snippets, err)
	}
}

// checkSnippet holds a snippet against what it must be: two sides of 16 bits, of
// which the right one has the candidate's clap where the left one clicks.
func checkSnippet(t *testing.T, path string, c takes.Candidate) {
	t.Helper()
	wav, err := media.OpenWAV(path)
	if err != nil {
		t.Fatal(err)
	}
	defer wav.Close()
	if wav.Channels() != 2 || wav.Rate() != audio.Rate || wav.Frames().Seconds() < 4 {
		t.Errorf("%s: %d channels, %d hertz, %.1f s", path, wav.Channels(), wav.Rate(), wav.Frames().Seconds())
	}
	b := audio.NewBlock(2, int(wav.Frames()))
	if _, err := wav.Read(b); err != nil {
		t.Fatal(err)
	}
	if c.By != "cue" {
		return
	}
	// Both sides begin 1.5 s before the cue, or with the file where that begins
	// later; the cue's click and the clap are the first loud sounds within 0.1 s.
	loud := func(ch []float64, at float64) float64 {
		top := 0.0
		for i := max(0, int((at-0.1)*audio.Rate)); i < int((at+0.1)*audio.Rate) && i < len(ch); i++ {
			top = math.Max(top, math.Abs(ch[i]))
		}
		return top
	}
	if loud(b[0], 1.5) < 0.02 || loud(b[1], 1.5) < 0.02 {
		t.Errorf("%s: at the cue the click peaks at %.3f, the take at %.3f", path, loud(b[0], 1.5), loud(b[1], 1.5))
	}
}

// TestAcceptRefuses what is not there, with what is.
func TestAcceptRefuses(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]string{
		"horn=x": "not the number of a candidate", "horn=0": "not the number of a candidate", "=2": "names no take",
	} {
		if _, err := ParseChoice(text); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
	p := openTwice(t)
	for text, want := range map[string]string{
		"oboe": "there is no take", "horn-2/video": "no such recording", "horn-2=9": "has no candidate 9",
	} {
		c, err := ParseChoice(text)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := p.Sync(t.Context(), SyncOptions{Accept: []takes.Choice{c}}); err == nil ||
			!strings.Contains(err.Error(), want) {
			t.Errorf("%q: %v", text, err)
		}
	}
}
