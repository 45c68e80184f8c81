package assemble

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/intake"
	"ripieno/assemble/media"
	"ripieno/mix/audio"
)

// Takes that were played to a guide of before are told to be, with what that was
// made with; those played to the guide of now are not.
func TestTakesOfAnOlderGuide(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	before := strings.Replace(tempoManifest, "bpm: 120", "bpm: 112", 1)
	var takes strings.Builder
	for i, bpm := range []float64{120, 112, 112, 112} {
		name := fmt.Sprintf("take-%d", i)
		x := plucked(uint64(10+i), bpm, 4, 16, mixedFigures)
		writeWAV(t, filepath.Join(dir, "in", name+".wav"), audio.Block{x}, 16000, media.PCM16)
		fmt.Fprintf(&takes, "  - {name: %s, audio: {file: in/%s.wav}}\n", name, name)
	}
	p := openTest(t, dir, before+takes.String())
	makeGuide(t, p)
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	p = openTest(t, dir, tempoManifest+takes.String())
	makeGuide(t, p)
	r, err := p.Sync(t.Context(), SyncOptions{})
	if err != nil {
		t.Fatal(err)
	}
	const told = "made with 112 bpm; production.yaml now says 120 bpm"
	for i, x := range r.Takes {
		if old := i > 0; x.Sure == old || (x.OtherTempo != 0) != old || strings.Contains(x.Reason, told) != old {
			t.Errorf("%s: sure %v, tempo over the guide's %g: %s", x.Name, x.Sure, x.OtherTempo, x.Reason)
		}
	}
	older := []string{"take-1", "take-2", "take-3"}
	if len(r.Guides) != 1 || !r.Guides[0].Older || !slices.Equal(r.Guides[0].Takes, older) ||
		r.Guides[0].What != "an older guide.wav was "+told+"; takes played to it: take-1, take-2, take-3" {
		t.Errorf("guides: %+v", r.Guides)
	}
	checked, err := p.Check(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i, x := range checked.Takes {
		found := slices.ContainsFunc(x.Findings, func(f intake.Finding) bool { return strings.Contains(f.What, told) })
		if found != (i > 0) {
			t.Errorf("check of %s: %+v", x.Name, x.Findings)
		}
	}
}
