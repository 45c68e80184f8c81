package assemble

import (
	"math"
	"path/filepath"
	"slices"
	"testing"

	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

// Every step is as loud as the film shall be, so that ears compare nothing else, and
// the last one before mastering is the mix itself.
func TestStagesLeadToTheMix(t *testing.T) {
	findTool(t)
	dir := t.TempDir()
	r := mixSound(t, dir, ensembleTakes(t, dir)+ensembleMix, 2, MixOptions{Stages: true})
	var steps []string
	for i, s := range r.Stages {
		steps = append(steps, s.Stage)
		if i > 0 && s.Before != r.Stages[i-1].After {
			t.Errorf("%s is compared with %s", s.After, s.Before)
		}
		m := mix.NewMetered(audio.NewMemory(readSound(t, s.After), audio.Rate))
		if _, err := audio.ReadAll(m); err != nil {
			t.Fatal(err)
		}
		if got := m.Measured().Integrated; math.Abs(float64(got-loudness.LUFS(-18))) > 0.3 {
			t.Errorf("%s has %.2f LUFS, want -18", filepath.Base(s.After), float64(got))
		}
	}
	if want := []string{"recorded", "balance", "tops", "silence", "noise", "tone", "master"}; !slices.Equal(steps, want) {
		t.Fatalf("steps %q, want %q", steps, want)
	}
	// Away from the fades of the film the step before the master is the sum, scaled.
	sum, last := readSound(t, storedFile(t, dir, "sum.wav")), readSound(t, r.Stages[5].After)
	if sum.Frames() != last.Frames() {
		t.Fatalf("%d frames of the film, %d of the step", sum.Frames(), last.Frames())
	}
	from, to := audio.Rate/2, 4*audio.Rate
	var ab, aa, bb float64
	for c := range sum {
		for i, v := range sum[c][from:to] {
			w := last[c][from+i]
			ab, aa, bb = ab+v*w, aa+v*v, bb+w*w
		}
	}
	if rest := 10 * math.Log10(1-ab*ab/(aa*bb)+1e-15); rest > -80 {
		t.Errorf("the last step differs from the mix by %.1f dB", rest)
	}
}
