package manifest

import (
	"errors"
	"fmt"
	"math"
	"ripieno/assemble/production"
	"strings"
	"testing"

	"ripieno/assemble/fault"
)

// checkWhole returns what is wrong with a production that Parse let through.
func checkWhole(p *production.Production) error {
	switch {
	case p.Tempo == nil || p.Title == "" || p.Dir == "" || p.Path == "":
		return errors.New("something that is always there is missing")
	case len(p.Deliver) == 0:
		return errors.New("no deliverable")
	case p.Picture.FPSNum < 1 || p.Picture.FPSDen < 1 || (p.Picture.AspectW < 1) != (p.Picture.AspectH < 1) ||
		(p.Picture.AspectW < 1) == (p.Picture.Shapes.Least <= 0):
		return fmt.Errorf("picture %+v", p.Picture)
	}
	for _, d := range p.Deliver {
		if d.W%2 != 0 || d.H%2 != 0 || d.W < minCanvas || d.H < minCanvas || d.W > maxCanvas || d.H > maxCanvas {
			return fmt.Errorf("canvas %dx%d", d.W, d.H)
		}
	}
	for _, v := range p.Guide.Variants {
		if v.Name == "" || v.Tempo == nil || v.To != 0 &&
			(v.Tempo.Measures() != v.To-v.From || v.From < 1 || v.To > p.Tempo.Measures()+1) || math.IsNaN(v.Shift) {
			return fmt.Errorf("variant %+v", v)
		}
	}
	sections := map[string]bool{"": true}
	for _, s := range p.Sections {
		if s.Name == "" || sections[production.Fold(s.Name)] {
			return fmt.Errorf("section %q", s.Name)
		}
		sections[production.Fold(s.Name)] = true
	}
	takes, seats := map[string]bool{}, map[int]bool{0: false}
	for _, t := range p.Takes {
		if seats[t.Seat] || t.Seat < 0 || p.Seats == 0 && t.Seat > len(p.Takes) {
			return fmt.Errorf("seat %d of %d for take %+v", t.Seat, p.Seats, t)
		}
		seats[t.Seat] = t.Seat > 0
		if t.Name == "" || takes[production.Fold(t.Name)] || !sections[production.Fold(t.Section)] ||
			strings.ContainsAny(t.Name, "/\\\x00 ") {
			return fmt.Errorf("take %+v", t)
		}
		takes[production.Fold(t.Name)] = true
		if t.Guide != "" && p.Guide.Variant(t.Guide) == nil {
			return fmt.Errorf("take %+v has no such guide", t)
		}
		if t.Expected != (t.Video == nil && t.Audio == nil) || !(t.GainDB >= minGainDB && t.GainDB <= maxGainDB) ||
			!(t.Crop.Zoom >= 1) {
			return fmt.Errorf("take %+v", t)
		}
		for _, f := range []*production.File{t.Video, t.Audio} {
			if f == nil {
				continue
			}
			if f.Path == "" || strings.HasPrefix(f.Path, "/") || f.Offset != nil && f.CueAt != nil {
				return fmt.Errorf("file %+v", f)
			}
			for _, x := range []*float64{f.Offset, f.CueAt, f.DriftPPM} {
				if x != nil && !(math.Abs(*x) <= maxSeconds) {
					return fmt.Errorf("file %+v: %v", f, *x)
				}
			}
		}
	}
	for i, s := range p.Shots {
		if i > 0 && !p.Shots[i-1].From.Before(s.From) || s.To != nil && !s.From.Before(*s.To) ||
			math.IsNaN(s.From.Seconds) || s.Show == "" {
			return fmt.Errorf("shot %+v", s)
		}
		if s.Show == "solo" && !takes[production.Fold(s.Take)] || s.Show == "soli" &&
			!sections[production.Fold(s.Section)] {
			return fmt.Errorf("shot %+v", s)
		}
	}
	return nil
}

// checkFaults returns what is wrong with an error of Parse.
func checkFaults(err error, data []byte) error {
	var list fault.List
	if !errors.As(err, &list) || len(list) == 0 {
		return fmt.Errorf("not a list: %v", err)
	}
	lines := 1 + strings.Count(strings.ReplaceAll(string(data), "\r", "\n"), "\n")
	for _, f := range list {
		var line, column int
		if f.Kind != fault.Manifest || f.What == "" || !strings.HasPrefix(f.Where, "production.yaml") {
			return fmt.Errorf("%+v", f)
		}
		if rest, ok := strings.CutPrefix(f.Where, "production.yaml:"); ok {
			if n, err := fmt.Sscanf(rest, "%d:%d", &line, &column); n != 2 || err != nil || line < 1 || line > lines ||
				column < 1 {
				return fmt.Errorf("place %q in %d lines", f.Where, lines)
			}
		}
		for _, r := range f.Error() + f.Hint {
			if r < ' ' {
				return fmt.Errorf("control character in %q", f.Error())
			}
		}
	}
	return nil
}

// FuzzParse: every text is either a production that is whole or faults that
// have a place; reading it again says the same.
func FuzzParse(f *testing.F) {
	for _, name := range []string{"testdata/lamplighter.yaml", "testdata/faults.txt"} {
		data := string(readFile(f, name))
		for _, c := range strings.Split(data, "\n=== ") {
			text, _, _ := strings.Cut(c, "\n--- says\n")
			if _, rest, ok := strings.Cut(text, "\n+\n"); ok {
				text = head + rest
			}
			f.Add([]byte(text))
		}
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		p, err := Parse("production.yaml", data)
		if (p == nil) == (err == nil) {
			t.Fatalf("%v and %v", p, err)
		}
		if err != nil {
			if bad := checkFaults(err, data); bad != nil {
				t.Fatal(bad)
			}
		} else if bad := checkWhole(p); bad != nil {
			t.Fatal(bad)
		}
		if _, again := Parse("production.yaml", data); fmt.Sprint(again) != fmt.Sprint(err) {
			t.Fatalf("%v\nand then\n%v", err, again)
		}
	})
}

// TestHostileFiles: files of a quarter of the largest size that make a careless reader
// take minutes are answered at once, and rightly. Without a bound on comparisons the last
// but one takes minutes.
func TestHostileFiles(t *testing.T) {
	const size = maxBytes/4 - 100
	fill := func(begin, unit string) string {
		return begin + strings.Repeat(unit, (size-len(begin))/len(unit))
	}
	count := func(begin, unit string, from, to int) string {
		var b strings.Builder
		b.WriteString(begin)
		for i := from; b.Len() < to; i++ {
			fmt.Fprintf(&b, unit, i)
		}
		return b.String()
	}
	takes := count(head+"takes:\n", "- {name: xy%d, expected: true}\n", 0, size/2)
	for _, c := range []struct{ name, text, want string }{
		{"brackets", fill("", "["), "production.yaml:1:10001: not YAML: exceeded max depth of 10000"},
		{"dashes", fill("", "- "), "production.yaml:1:20001: not YAML: exceeded max depth of 10000"},
		{"comments", fill("", "#x\n"), "production.yaml:1:1: the file is empty"},
		{"spaces", fill("", " "), "production.yaml:1:1: the file is empty"},
		{"an error at the end", strings.Repeat("aaaaa: bbbbb\n", 9999) + "a: b: c\n",
			"production.yaml:10000:5: a colon is not allowed here"},
		{"one key for ever", fill(head, "k: 1\n"), `production.yaml:4:1: unknown key "k" in the manifest`},
		{"shots of nobody", count(takes+"shots:\n", "- {from: %[1]d, show: solo, take: xz%[1]d}\n", 0, size),
			`production.yaml:4008:31: there is no take "xz0"`},
		{"sections of nobody", count(takes+"sections:\n", "- {name: bigsection%d, gain: x}\n", 0, size),
			`production.yaml:4008:29: gain "x" is not a number`},
	} {
		_, err := Parse("production.yaml", []byte(c.text))
		var list fault.List
		if !errors.As(err, &list) || list[0].Error() != c.want {
			t.Errorf("%s: %.300v, want %s", c.name, err, c.want)
		}
	}
}

// FuzzPin: in every manifest that reads, a value can be pinned to the first
// recording that has none, or there is a fault that says why not; what comes
// out reads back, with that value, and otherwise as before.
func FuzzPin(f *testing.F) {
	f.Add([]byte(pinHead+"- {name: a, video: {file: a.mov}}\n"), -3.25, 12.5)
	f.Add([]byte(pinHead+"- name: a\r\n  audio:\r\n    file: 'a''.wav' # x\r\n"), 1e-9, 0.0)
	f.Add([]byte(pinHead+"- name: a\n  video: {\n  file: |\n  a\n  }"), 86400.0, -1000.0)
	f.Add(readFile(f, "testdata/lamplighter.yaml"), 0.1, 0.2)
	f.Fuzz(func(t *testing.T, data []byte, offset, drift float64) {
		p, err := Parse("production.yaml", data)
		if err != nil || checkPinned([]Pinned{{Take: "a", Role: "video", Offset: offset, DriftPPM: drift}}) != nil {
			return
		}
		for i, x := range p.Takes {
			for role, file := range map[production.Role]*production.File{production.Video: x.Video,
				production.Audio: x.Audio} {
				if file == nil {
					continue
				}
				out, err := Pin(data, p, []Pinned{{Take: x.Name, Role: role, Offset: offset, DriftPPM: drift}})
				if err != nil {
					if bad := checkFaults(fault.List{err.(*fault.Fault)}, data); bad != nil {
						t.Fatal(bad)
					}
					continue
				}
				again, err := Parse("production.yaml", out)
				if err != nil {
					t.Fatalf("%v\n%s", err, out)
				}
				got := again.Takes[i].Video
				if role == "audio" {
					got = again.Takes[i].Audio
				}
				if file.Offset == nil && file.CueAt == nil {
					if *got.Offset != offset || file.DriftPPM == nil && *got.DriftPPM != drift {
						t.Fatalf("%v and %v became %v and %v\n%s", offset, drift, *got.Offset, *got.DriftPPM, out)
					}
					got.Offset, got.DriftPPM = nil, file.DriftPPM
				}
				if a, b := unmarked(t, p), unmarked(t, again); a != b {
					t.Fatalf("%s\nbecame\n%s", a, b)
				}
			}
		}
	})
}

func BenchmarkParse(b *testing.B) {
	var text strings.Builder
	text.WriteString(pinHead)
	for i := range 500 {
		fmt.Fprintf(&text, "  - {name: take-%d, player: Ada Lind %d, part: Violin 1, section: strings, video: {file: "+
			"intake/%d.mov}, trim: {from: m1, to: m8.3}}\n", i, i, i)
	}
	data := []byte(text.String())
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if _, err := Parse("production.yaml", data); err != nil {
			b.Fatal(err)
		}
	}
}
