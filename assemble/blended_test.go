package assemble

import (
	"path/filepath"
	"strings"
	"testing"
)

// Under balance of an ensemble the tune, as it is heard, moves who plays it: a flute that goes by
// steps over a tuba's long notes. Whoever has the same gains by hand has the same levels but for
// that; a tuba is louder than a flute, and under auto nothing of it is said or done.
func TestAnEnsembleIsBalanced(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	writeRound(t, dir)
	mixed := map[string]MixResult{}
	for _, balance := range []string{"auto", "ensemble"} {
		mixed[balance] = mixRound(t, dir, balance)
	}
	for i, s := range mixed["ensemble"].Strips {
		before := mixed["auto"].Strips[i]
		if before.Blend != nil || s.Blend == nil {
			t.Fatalf("%s: %+v under auto, %+v in the ensemble", s.Take, before.Blend, s.Blend)
		}
		if got, want := s.Gain-before.Gain, s.Blend.Power+s.Blend.Register; got-want > 0.01 || want-got > 0.01 {
			t.Errorf("%s: %.2f dB louder, %.2f are said", s.Take, got, want)
		}
		notes := strings.Join(s.Notes, "; ")
		if !strings.Contains(notes, "in the ensemble: ") ||
			strings.Contains(strings.Join(before.Notes, "; "), "ensemble") {
			t.Errorf("%s: %s", s.Take, notes)
		}
		for _, m := range s.Blend.Moves {
			if len(s.Roles) == 0 || m.Role != s.Roles[0].Role {
				t.Errorf("%s is moved as %s, and is %+v", s.Take, m.Role, s.Roles)
			}
		}
	}
	flute, tuba := mixed["ensemble"].Strips[0], mixed["ensemble"].Strips[1]
	if *tuba.Mixed < *flute.Mixed+4 {
		t.Errorf("the tuba is at %.1f LUFS, the flute at %.1f", *tuba.Mixed, *flute.Mixed)
	}
	if len(flute.Roles) != 1 || flute.Roles[0].Role != "melody" ||
		len(tuba.Roles) != 1 || tuba.Roles[0].Role != "bass" {
		t.Errorf("flute %+v, tuba %+v", flute.Roles, tuba.Roles)
	}
}

// writeRound writes what the three play: a tune by steps, long low notes, and one note again and again.
func writeRound(t *testing.T, dir string) {
	t.Helper()
	var tune, low, inner []ping
	for i := range 64 {
		at := 4 + float64(i)/4
		tune = append(tune, ping{at, []float64{523.3, 587.3, 659.3, 698.5, 784, 698.5, 659.3, 587.3}[i%8], 0.2})
		if i%4 == 0 {
			low = append(low, ping{at, []float64{98, 110}[i/4%2], 0.3})
		}
		if i%2 == 0 {
			inner = append(inner, ping{at, 440, 0.3})
		}
	}
	for name, notes := range map[string][]ping{"flute": tune, "tuba": low, "viola": inner} {
		writePings(t, filepath.Join(dir, "intake", name+".wav"), 21, notes)
	}
}

// mixRound mixes the three with a balance.
func mixRound(t *testing.T, dir, balance string) MixResult {
	t.Helper()
	p := openTest(t, dir, `version: 1
title: Small Round
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 8}
mix: {balance: `+balance+`}
takes:
  - {name: flute, part: Flute, audio: {file: intake/flute.wav, offset: 0, drift_ppm: 0}}
  - {name: tuba, part: Tuba, audio: {file: intake/tuba.wav, offset: 0, drift_ppm: 0}}
  - {name: viola, part: Viola, audio: {file: intake/viola.wav, offset: 0, drift_ppm: 0}}
`)
	defer p.Close() // the next one has the same folder
	r, err := p.Mix(t.Context(), MixOptions{})
	if err != nil {
		t.Fatal(err)
	}
	return r
}
