package manifest

import (
	"bytes"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/mix/tempo"
	"ripieno/mix/tempo/smf"
)

// someMade returns a record with everything in it that one can hold.
func someMade(t testing.TB) *Made {
	t.Helper()
	meter := func(s string) tempo.Meter {
		m, err := tempo.ParseMeter(s)
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	full := tempo.Spec{
		CountIn: tempo.CountIn{Measures: 2, CueMeasure: 1, CueBeat: 2}, PickUp: 0.5, Measures: 20,
		Changes: []tempo.Change{
			{Measure: 0, Meter: meter("6/8 in 6"), Beat: tempo.Unit{Num: 3, Den: 8}, BPM: 66.6},
			{Measure: 5, Meter: meter("3+2/8"), BPM: 88, RampTo: 70.0 / 3, Until: 9, UntilBeat: 1.5},
			{Measure: 10, At: 2, BPM: 100},
		},
		Holds: []tempo.Hold{{At: tempo.Position{Measure: 12, Beat: 1.5}, Seconds: 1.25}},
	}
	plain := tempo.Spec{Measures: 4, Changes: []tempo.Change{{Measure: 1, Meter: meter("4/4 in 2"), BPM: 60}}}
	return &Made{Guides: []MadeGuide{
		{Guide: "guide-end", From: 5, To: 8, Spec: plain}, {Guide: "guide", Spec: full, Score: "0123"},
	}}
}

// What is written is read back whole, and written again as the same bytes.
func TestMadeReadsBack(t *testing.T) {
	m := someMade(t)
	data := m.Encode()
	got, err := ParseMade("guide.yaml", data)
	if err != nil {
		t.Fatalf("%v\n%s", err, data)
	}
	if !reflect.DeepEqual(got, m) {
		t.Errorf("%+v became %+v", m, got)
	}
	if again := got.Encode(); !bytes.Equal(again, data) {
		t.Errorf("%s became %s", data, again)
	}
	empty, err := ParseMade("guide.yaml", (&Made{}).Encode())
	if err != nil || len(empty.Guides) != 0 {
		t.Errorf("an empty record: %v, %v", empty, err)
	}
}

// Each different guide is there once, the newest first, and of each name at most
// keptGuides; another name keeps its own.
func TestMadeIsShort(t *testing.T) {
	m := someMade(t)
	g := m.Guides[1]
	for i := range 2 * keptGuides {
		g.Spec.Measures = 20 + i
		m.Add(g)
	}
	g.Spec.Measures -= 3
	m.Add(g)
	list := m.Of("guide")
	if len(list) != keptGuides || len(m.Of("guide-end")) != 1 {
		t.Fatalf("%d and %d are kept", len(list), len(m.Of("guide-end")))
	}
	// Twice keptGuides were made, of 20 measures and more; the fourth last came again.
	for i, n := range []int{32, 35, 34, 33, 31, 30, 29, 28} {
		if list[i].Spec.Measures != n {
			t.Errorf("number %d has %d measures, not %d", i, list[i].Spec.Measures, n)
		}
	}
	// A record as long as can be loses its oldest guides and reads back.
	for i := range tempo.MaxMeasures - 20 {
		g.Spec.Changes = append(g.Spec.Changes, tempo.Change{Measure: 13 + i, BPM: 100 + float64(i)/7e3})
	}
	g.Spec.Measures = tempo.MaxMeasures
	for i := range 40 {
		g.Guide = fmt.Sprintf("guide-%d", i)
		m.Add(g)
	}
	data := m.Encode()
	got, err := ParseMade("guide.yaml", data)
	if err != nil || len(data) > maxMade {
		t.Fatalf("%d bytes, %v", len(data), err)
	}
	if n := len(got.Guides); n == 0 || n >= len(m.Guides) || got.Guides[0].Guide != "guide-39" {
		t.Errorf("%d guides of %d are left", n, len(m.Guides))
	}
}

// A record that is not whole is told with the file and what to do.
func TestMadeFaults(t *testing.T) {
	good := string(someMade(t).Encode())
	for what, text := range map[string]string{
		"cut":       good[:len(good)/2],
		"no end":    strings.TrimSuffix(good, "complete: true\n"),
		"meter":     strings.Replace(good, "4/4 in 2", "4/5", 1),
		"beat":      strings.Replace(good, "beat: 3/8", "beat: dotted", 1),
		"no tempo":  strings.Replace(good, "bpm: 60", "until: 3", 1),
		"bpm":       strings.Replace(good, "bpm: 60", "bpm: .inf", 1),
		"later":     strings.Replace(good, "version: 1", "version: 2", 1),
		"other key": strings.Replace(good, "pick_up", "pickup", 1),
		"nothing":   "",
	} {
		_, err := ParseMade("guide.yaml", []byte(text))
		var f *fault.Fault
		if !errors.As(err, &f) || !strings.Contains(f.Error(), "guide.yaml") ||
			!strings.Contains(f.Hint, "delete guide.yaml") {
			t.Errorf("%s: %v", what, err)
		}
	}
}

func TestLoadMade(t *testing.T) {
	dir := t.TempDir()
	if m, err := LoadMade(dir); err != nil || len(m.Guides) != 0 {
		t.Errorf("no record: %v, %v", m, err)
	}
	if err := os.Mkdir(filepath.Join(dir, MadeName), 0o777); err != nil {
		t.Fatal(err)
	}
	var f *fault.Fault
	if _, err := LoadMade(dir); !errors.As(err, &f) || f.Hint == "" {
		t.Errorf("a folder: %v", err)
	}
}

// The hash of a score is that of all bytes of its file, also of those behind the
// music.
func TestScoreHasItsHash(t *testing.T) {
	music, err := tempo.New(someMade(t).Guides[0].Spec)
	if err != nil {
		t.Fatal(err)
	}
	var midi bytes.Buffer
	if err := smf.Write(&midi, music, smf.Options{}); err != nil {
		t.Fatal(err)
	}
	dir := t.TempDir()
	for _, more := range []string{"", "behind"} {
		data := append(midi.Bytes(), more...)
		if err := os.WriteFile(filepath.Join(dir, "round.mid"), data, 0o666); err != nil {
			t.Fatal(err)
		}
		s, err := readScore(dir, "round.mid", ".mid")
		if err != nil || s.Hash != fmt.Sprintf("%x", sha256.Sum256(data)) {
			t.Errorf("%q: %v, %v", more, s, err)
		}
	}
}

// Whatever a record holds, reading it ends with a fault or with guides that can
// be written and read again.
func FuzzParseMade(f *testing.F) {
	good := someMade(f).Encode()
	f.Add(good)
	f.Add(good[:len(good)-20])
	f.Add([]byte("version: 1\nguides: [{guide: a, count_in: {measures: 0}, measures: 1, " +
		"changes: [{measure: 1, meter: 4/4, bpm: 1}]}]\ncomplete: true\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := ParseMade("guide.yaml", data)
		if err != nil {
			return
		}
		text := m.Encode()
		again, err := ParseMade("guide.yaml", text)
		if err != nil || len(again.Guides) != len(m.Guides) {
			t.Errorf("%s became %s: %v", data, text, err)
		}
	})
}
