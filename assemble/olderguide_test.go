package assemble

import (
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// Takes that were played to a guide of before are told to be, with what that was
// made with, and the tempo of the manifest is not doubted besides; those played
// to the guide of now are not.
func TestTakesOfAnOlderGuide(t *testing.T) {
	findTool(t)
	dir := t.TempDir()
	older := strings.Replace(tempoManifest, "bpm: 120", "bpm: 112", 1)
	var takes strings.Builder
	for i, bpm := range []float64{120, 112, 112, 112} {
		name := fmt.Sprintf("take-%d", i)
		writeWAV(t, filepath.Join(dir, "in", name+".wav"), audio.Block{plucked(uint64(10+i), bpm, 4, 16, mixedFigures)}, 16000, media.PCM16)
		fmt.Fprintf(&takes, "  - {name: %s, audio: {file: in/%s.wav}}\n", name, name)
	}
	p := openTest(t, dir, older+takes.String())
	makeGuide(t, p)
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	p = openTest(t, dir, tempoManifest+takes.String())
	makeGuide(t, p)
	r, err := p.Sync(t.Context(), false)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range r.Takes {
		t.Logf("%s %v %g %s", x.Name, x.Sure, x.OtherTempo, x.Reason)
	}
	for _, g := range r.Guides {
		t.Logf("%+v", g)
	}
	_ = os.Stdout
}
