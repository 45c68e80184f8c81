package manifest

import (
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/mix/tempo"
)

// inFolder writes a manifest and other files and reads the manifest.
func inFolder(t *testing.T, tempoText string, files map[string]string) (dir string) {
	t.Helper()
	dir = t.TempDir()
	files[FileName] = "version: 1\ntitle: T\ntempo: {" + tempoText + "}\n"
	for name, text := range files {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o666); err != nil {
			t.Fatal(err)
		}
	}
	return dir
}

// Taps say where every beat is; the manifest says the meters, and as many measures are
// played as there are taps for.
func TestTempoFromTaps(t *testing.T) {
	dir := inFolder(t, "from: taps.txt, first: 2, count_in: {measures: 1}, changes: [{measure: 1, meter: 3/4}]",
		map[string]string{"taps.txt": "1.0\n1.5\n2.0\n2.5\n3.1\n3.8\n4.4\n4.9\n5.3\n"})
	man, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	if n := man.Tempo.Measures(); n != 2 {
		t.Errorf("%d measures", n)
	}
	b := man.Beats
	if b == nil || b.Recording || b.List != "taps.txt" || b.Own != 7 || b.Count != 7 {
		t.Errorf("%+v", b)
	}
	m2, _ := man.Tempo.Seconds(tempo.Position{Measure: 2, Beat: 1})
	if got := m2 - b.Offset; math.Abs(got-3.8) > 1e-9 { // back in the time of the taps
		t.Errorf("measure 2 is at %.4f s of the taps", got)
	}
	if got := man.ScoreRemarks(); len(got) != 1 || !strings.HasPrefix(got[0],
		"the tempo is that of 7 beats in taps.txt") {
		t.Errorf("%q", got)
	}
	// The record of guides has such a tempo too.
	var made Made
	made.Add(MadeGuide{Guide: "guide", Spec: man.Tempo.Spec()})
	read, err := ParseMade("guide.yaml", made.Encode())
	if err != nil || read.Guides[0].text() != made.Guides[0].text() {
		t.Errorf("%v\n%s", err, made.Encode())
	}
}

// What the program found is told apart from what a person wrote, and beats behind the
// end are told.
func TestTempoFromAList(t *testing.T) {
	list := "0.000\t0.000\tbeats of a.wav, 1\n1.000\t1.000\tm1.1 @1.000\n1.500\t1.500\tm1.2\n" +
		"2.000\t2.000\tm2.1 @2.000 ?\n2.500\t2.500\tm2.2 @2.500\n3.000\t3.000\tm3.1 @3.000\n3.5\t3.5\tm3.2 @3.500\n"
	dir := inFolder(t, "from: a.wav, measures: 2, changes: [{measure: 1, meter: 2/4, bpm: 110}]",
		map[string]string{"a-beats.txt": list})
	man, err := Load(dir)
	if err != nil {
		t.Fatal(err)
	}
	if b := man.Beats; b.Own != 1 || b.Weak != 1 || b.Count != 5 || len(b.Remarks) != 1 ||
		!strings.Contains(b.Remarks[0], "left out: 1 from 3.50 s") ||
		!slices.Contains(b.Describe(), "beats put right by you: 1") {
		t.Errorf("%+v: %q", b, b.Describe())
	}
	f := ToFollow(dir)
	if f == nil || f.Recording != "a.wav" || f.List != "a-beats.txt" || !f.Counted || f.Speed != 110 ||
		!math.IsNaN(f.First) || f.Spec.Measures != 2 {
		t.Errorf("%+v", f)
	}
	for _, c := range []string{"from: a.wav", "from: taps.txt, changes: [{measure: 1, meter: 2/4}]",
		"measures: 2, changes: [{measure: 1, meter: 2/4, bpm: 110}]"} {
		if f := ToFollow(inFolder(t, c, map[string]string{})); f != nil {
			t.Errorf("%s asks for %+v", c, f)
		}
	}
	wrong := strings.Replace(list, "m2.1", "m2.2", 1)
	_, err = Load(inFolder(t, "from: a.wav, changes: [{measure: 1, meter: 2/4}]",
		map[string]string{"a-beats.txt": wrong}))
	if err == nil || !strings.Contains(err.Error(),
		"a-beats.txt: line 4: beat 2 of measure 2 stands where beat 1 of measure 2 is due") {
		t.Error(err)
	}
}
