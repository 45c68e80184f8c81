package manifest

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/mix/align"
)

// someMeasured returns two files, one of them not placed.
func someMeasured() *Measured {
	return &Measured{Files: []Measurement{
		{Take: "oboe-1", Role: "video", File: "intake/mara.mov", Hash: "9f2c", Placement: align.Placement{
			Offset: -3.25, DriftPPM: 12.5, Confidence: 0.97, Sure: true, Method: align.ByCuePlaying,
			Evidence: []string{"clap at 14.159 s", "playing: 31 of 33 beats"}}},
		{Take: "horn-2", Role: "audio", File: "intake/ilse: \"take\" 2.wav", Hash: "0a", Placement: align.Placement{
			Offset: math.NaN(), Confidence: 0.2, Method: "none", Reason: "no clap found"}},
	}}
}

func TestMeasuredBytes(t *testing.T) {
	const want = "# Written by `ripieno sync`. A value in production.yaml (offset: or cue_at: of a\n" +
		"# file) overrules the one here. What is sure here stays sure when other takes come,\n" +
		"# while its file and key are the same; the line remembered says what is doubted then.\n" +
		"# This file may be deleted; sync measures again and remembers nothing.\n" + `version: 1
files:
  - take: horn-2
    role: audio
    file: "intake/ilse: \"take\" 2.wav"
    hash: "0a"
    offset: none
    drift_ppm: 0
    confidence: 0.2
    sure: false
    method: none
    reason: no clap found
  - take: oboe-1
    role: video
    file: intake/mara.mov
    hash: "9f2c"
    offset: -3.25
    drift_ppm: 12.5
    confidence: 0.97
    sure: true
    method: cue+playing
    evidence:
      - clap at 14.159 s
      - "playing: 31 of 33 beats"
complete: true
`
	m := someMeasured()
	got, err := m.Encode()
	if err != nil || string(got) != want {
		t.Fatalf("%v\n%s", err, got)
	}
	m.Files[0], m.Files[1] = m.Files[1], m.Files[0]
	if again, _ := m.Encode(); !bytes.Equal(again, got) {
		t.Error("another order gives other bytes")
	}
	if m.Files[0].Take != "horn-2" {
		t.Error("Encode sorted its argument")
	}
	empty, err := (&Measured{}).Encode()
	if err != nil {
		t.Fatal(err)
	}
	if m, err := parseMeasured("sync.yaml", empty); err != nil || len(m.Files) != 0 {
		t.Errorf("%v %v", m, err)
	}
}

// same compares with NaN equal to itself.
func same(a, b Measurement) bool {
	if math.IsNaN(a.Offset) && math.IsNaN(b.Offset) {
		a.Offset, b.Offset = 0, 0
	}
	return reflect.DeepEqual(a, b)
}

func TestMeasuredFind(t *testing.T) {
	data, err := someMeasured().Encode()
	if err != nil {
		t.Fatal(err)
	}
	m, err := parseMeasured("sync.yaml", data)
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	for _, want := range someMeasured().Files {
		if got, ok := m.Find(want.Take, want.Role, want.Hash); !ok || !same(got, want) {
			t.Errorf("%+v, want %+v", got, want)
		}
		if _, ok := m.Find(want.Take, want.Role, "another content"); ok {
			t.Error("a changed file is found")
		}
	}
}

// TestMeasuredRoundTrip: whatever text and numbers a measurement holds, it
// reads back the same.
func TestMeasuredRoundTrip(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	alphabet := []rune("abc 019:-#'\"\\{}[],&*!|>%@`?~=.\n\t\r\x00\x1f\x7f\u0085\u2028\ufeffé日𝄞")
	text := func() string {
		r := make([]rune, rng.IntN(8))
		for i := range r {
			r[i] = alphabet[rng.IntN(len(alphabet))]
		}
		return string(r)
	}
	for range 800 {
		f := Measurement{Take: text(), Role: []production.Role{"video", "audio"}[rng.IntN(2)], File: text(),
			Hash: text(),
			Placement: align.Placement{
				Offset: (rng.Float64() - 0.5) * math.Pow(10, rng.Float64()*10-5), DriftPPM: (rng.Float64() - 0.5) * 900,
				Confidence: rng.Float64(), Sure: rng.IntN(2) == 0,
				Method: align.Methods()[rng.IntN(len(align.Methods()))], Reason: text(),
				Remembered: text()}, Key: text()}
		for range rng.IntN(3) {
			f.Evidence = append(f.Evidence, text())
			f.Candidates = append(f.Candidates, align.Candidate{Offset: rng.NormFloat64(),
				DriftPPM: 90 * rng.Float64(), At: 99 * rng.Float64(),
				ByCue: rng.IntN(2) == 0, Odds: rng.Float64()})
		}
		data, err := (&Measured{Files: []Measurement{f}}).Encode()
		if err != nil {
			t.Fatal(err)
		}
		m, err := parseMeasured("sync.yaml", data)
		if err != nil {
			t.Fatalf("%+v\n%s\n%s", f, data, fault.Format(err))
		}
		if !same(m.Files[0], f) {
			t.Fatalf("%+v\n%+v\n%s", f, m.Files[0], data)
		}
	}
}

func TestMeasuredRefused(t *testing.T) {
	for name, change := range map[string]func(m *Measured){
		"infinite offset":   func(m *Measured) { m.Files[0].Offset = math.Inf(1) },
		"a day off":         func(m *Measured) { m.Files[0].Offset = 1e6 },
		"drift not known":   func(m *Measured) { m.Files[0].DriftPPM = math.NaN() },
		"confidence over 1": func(m *Measured) { m.Files[0].Confidence = 1.5 },
		"another role":      func(m *Measured) { m.Files[0].Role = "sound" },
		"one key twice":     func(m *Measured) { m.Files = append(m.Files, m.Files[0]) },
	} {
		m := someMeasured()
		change(m)
		if _, err := m.Encode(); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func TestMeasuredDamaged(t *testing.T) {
	good, err := someMeasured().Encode()
	if err != nil {
		t.Fatal(err)
	}
	swap := func(old, new string) string { return strings.Replace(string(good), old, new, 1) }
	const hint = "\n  hint: delete sync.yaml and run `ripieno sync` again"
	for _, c := range []struct{ text, want string }{
		{"", "d/sync.yaml:1:1: the file is empty"},
		{swap("complete: true\n", ""), `d/sync.yaml:5:1: missing key "complete" in the file`},
		{"\x00\x00\x00\x00", `d/sync.yaml:1:1: control character U+0000`},
		{"version: 1\n", `d/sync.yaml:1:1: missing key "files" in the file`},
		{swap("version: 1", "version: 2"),
			"d/sync.yaml:5:10: version 2 is newer than this program, which reads version 1"},
		{swap("version: 1", "edition: 1"), `d/sync.yaml:5:1: unknown key "edition" in the file`},
		{swap("offset: -3.25", "offset: left"), `d/sync.yaml:21:13: offset "left" is not a number`},
		{swap("offset: -3.25", "offset: none"), "nothing"},
		{swap("sure: true", "sure: maybe"), `d/sync.yaml:24:11: sure "maybe" is neither true nor false`},
		{swap("role: audio", "role: smell"), `d/sync.yaml:8:11: unknown role "smell"`},
		{swap("  - take: horn-2\n    role: audio", "  - take: oboe-1\n    role: video\n    hash: 9f2c"),
			`d/sync.yaml:11:5: key "hash" is written twice`},
		{swap("      - clap at 14.159 s", "      - [clap]"), `d/sync.yaml:27:9: evidence holds a list`},
		{strings.Replace(string(good), "  - take: oboe-1\n    role: video\n    file: intake/mara.mov\n    "+
			"hash: \"9f2c\"", "  - take: horn-2\n    role: audio\n    file: x\n    hash: \"0a\"", 1),
			`d/sync.yaml:17:5: take "horn-2" has two measurements of one audio file`},
	} {
		_, err := parseMeasured(filepath.Join("d", "sync.yaml"), []byte(c.text))
		if c.want == "nothing" {
			if err != nil {
				t.Error(fault.Format(err))
			}
			continue
		}
		if err == nil || filepath.ToSlash(fault.Format(err)) != c.want+hint || fault.KindOf(err) != fault.Manifest {
			t.Errorf("%.40q:\n%v\nwant\n%s", c.text, err, c.want)
		}
	}
}

// TestMeasuredCutShort: no beginning of the file passes for the whole.
func TestMeasuredCutShort(t *testing.T) {
	good, err := someMeasured().Encode()
	if err != nil {
		t.Fatal(err)
	}
	for n := range len(good) - 1 { // the very last byte is the line's end
		if m, err := parseMeasured("sync.yaml", good[:n]); err == nil {
			t.Fatalf("%d of %d bytes give %+v", n, len(good), m)
		}
	}
}

func TestLoadMeasured(t *testing.T) {
	dir := t.TempDir()
	m, err := LoadMeasured(dir)
	if err != nil || len(m.Files) != 0 {
		t.Fatalf("no file: %v %v", m, err)
	}
	data, err := someMeasured().Encode()
	if err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(dir, MeasuredName), data, 0o600); err != nil {
		t.Fatal(err)
	}
	if m, err = LoadMeasured(dir); err != nil || len(m.Files) != 2 {
		t.Fatalf("%v %v", m, err)
	}
}

func FuzzParseMeasured(f *testing.F) {
	good, err := someMeasured().Encode()
	if err != nil {
		f.Fatal(err)
	}
	f.Add(good)
	f.Add([]byte("version: 1\nfiles: [{take: a, role: audio, hash: b, offset: none, evidence: [a, 'b\n\n c']}]\n"))
	f.Fuzz(func(t *testing.T, data []byte) {
		m, err := parseMeasured("sync.yaml", data)
		if (m == nil) == (err == nil) {
			t.Fatalf("%v and %v", m, err)
		}
		if err != nil {
			if fault.KindOf(err) != fault.Manifest || !strings.Contains(fault.Format(err), "hint: delete sync.yaml") {
				t.Fatal(err)
			}
			return
		}
		once, err := m.Encode()
		if err != nil {
			t.Fatal(err)
		}
		again, err := parseMeasured("sync.yaml", once)
		if err != nil {
			t.Fatal(err)
		}
		if twice, err := again.Encode(); err != nil || !bytes.Equal(once, twice) {
			t.Fatalf("%v\n%s\n%s", err, once, twice)
		}
	})
}
