package assemble

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"
)

// Who is hidden stands in the report, by what mix says: of two who play the same notes the
// one who is 20 dB softer. In German it says so in German; without playing it says nothing.
func TestTheReportSaysWhoIsHidden(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	var notes []ping
	for i := range 64 { // without a rest, so that the viola is hidden in one long stretch
		notes = append(notes, ping{4 + float64(i)/4, 440, 0.3})
	}
	for _, name := range []string{"oboe", "viola"} {
		writePings(t, filepath.Join(dir, "intake", name+".wav"), 21, notes)
	}
	text := `version: 1
title: Small Round
language: de
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 8}
takes:
  - {name: oboe, part: Oboe, audio: {file: intake/oboe.wav, offset: 0, drift_ppm: 0}}
  - {name: viola, part: Viola, gain: -20, audio: {file: intake/viola.wav, offset: 0, drift_ppm: 0}}
`
	p := openTest(t, dir, text)
	mixed, err := p.Mix(t.Context(), MixOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if h := mixed.Strips[1].Hidden; h == nil || h.Share < 0.9 || mixed.Strips[0].Hidden != nil {
		t.Fatalf("mix says %+v of the viola, %+v of the oboe", h, mixed.Strips[0].Hidden)
	}
	for _, c := range []struct {
		o    ReviewOptions
		want int
	}{{ReviewOptions{}, 1}, {ReviewOptions{NoPlaying: true}, 0}} {
		r, err := p.Review(t.Context(), c.o)
		if err != nil {
			t.Fatal(err)
		}
		page, err := os.ReadFile(r.File)
		if n := bytes.Count(page,
			[]byte("\u00a0% des Spiels von den anderen verdeckt, am längsten: Takte 1 bis 8; gain: ")); err != nil ||
			n != c.want || bytes.Contains(page, []byte("hidden by the others")) {
			t.Errorf("%+v: said %d times, want %d (%v)", c.o, n, c.want, err)
		}
	}
}
