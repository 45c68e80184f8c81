package manifest

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"ripieno/assemble/production"
	"strings"
	"testing"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/smf"
)

// TestAbsurdLengths: a guide that nobody can play to is refused where its length
// is written, whatever verb reads it.
func TestAbsurdLengths(t *testing.T) {
	dir := t.TempDir()
	four, err := tempo.ParseMeter("4/4")
	if err != nil {
		t.Fatal(err)
	}
	music, err := tempo.New(tempo.Spec{Measures: 1200, Changes: []tempo.Change{{Measure: 1, Meter: four, BPM: 4}}})
	if err != nil {
		t.Fatal(err)
	}
	var midi bytes.Buffer
	if err := smf.Write(&midi, music, smf.Options{Title: "Twenty hours"}); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "long.mid"), midi.Bytes(), 0o666); err != nil {
		t.Fatal(err)
	}
	for tempo, want := range map[string]string{
		"{changes: [{measure: 1, meter: 32/4, bpm: 10}], " +
			"measures: 10000}": ":3:66: the guide would last 533.8 hours",
		"{count_in: {measures: 64}, changes: [{measure: 1, meter: 4/4, bpm: 1}], " +
			"measures: 10}": ":3:90: the guide would last 4.9 hours",
		"{score: long.mid}": ":3:16: the guide would last 20.",
		// 400 measures of 4 to 240 s
		"{changes: [{measure: 1, meter: 4/4, bpm: 60}, {measure: 2, bpm: 60, ramp_to: 1, until: 400}], " +
			"measures: 400}": "",
		"{changes: [{measure: 1, meter: 4/4, bpm: 60}], " +
			"measures: 3500}": "",
	} {
		path := filepath.Join(dir, FileName)
		_, err := Parse(path, []byte("version: 1\ntitle: Long\ntempo: "+tempo+"\n"))
		switch {
		case want == "" && err != nil:
			t.Errorf("%s: %v", tempo, err)
		case want != "" && (err == nil || !strings.Contains(err.Error(), want) || strings.Count(err.Error(), "\n") > 0):
			t.Errorf("%s: got %v, want %s", tempo, err, want)
		}
	}
}

// TestLongNames: what becomes part of a file name leaves room for the rest of it.
func TestLongNames(t *testing.T) {
	const head = "version: 1\ntitle: T\ntempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 8}\n"
	for name, ok := range map[string]bool{
		strings.Repeat("a", 64): true, strings.Repeat("曲", 64): true, strings.Repeat("𝒶", 48): true,
		strings.Repeat("𝒶", 49): false, strings.Repeat("a", 65): false,
	} {
		_, err := Parse(FileName, []byte(fmt.Sprintf("%sdeliver: [{name: %s, canvas: 320x180}]\n", head, name)))
		if (err == nil) != ok {
			t.Errorf("%s: %v", name, err)
		}
	}
	if s := production.Slug(strings.Repeat("𝒶", 64)); len(s) > 192 || s == "" {
		t.Errorf("a slug has %d bytes", len(s))
	}
}
