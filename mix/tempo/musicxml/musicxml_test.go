package musicxml

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// partwise puts parts, each the text of its measures, into a score.
func partwise(parts ...string) string {
	var list, body strings.Builder
	for i, p := range parts {
		fmt.Fprintf(&list, `<score-part id="P%d"><part-name>Part %d</part-name></score-part>`, i+1, i+1)
		fmt.Fprintf(&body, `<part id="P%d">%s</part>`, i+1, p)
	}
	return `<?xml version="1.0" encoding="UTF-8"?><!DOCTYPE score-partwise PUBLIC "-//Recordare//DTD MusicXML 4.0 Partwise//EN" "http://www.musicxml.org/dtds/partwise.dtd">` +
		`<score-partwise version="4.0"><work><work-title>Round</work-title></work><part-list>` + list.String() +
		`</part-list>` + body.String() + `</score-partwise>`
}

// measures numbers the contents of measures from 1.
func measures(contents ...string) string {
	var b strings.Builder
	for i, c := range contents {
		fmt.Fprintf(&b, `<measure number="%d">%s</measure>`, i+1, c)
	}
	return b.String()
}

func attributes(divisions int, beats, beatType string) string {
	return fmt.Sprintf(
		`<attributes><divisions>%d</divisions><time><beats>%s</beats><beat-type>%s</beat-type></time></attributes>`,
		divisions, beats, beatType)
}

// note returns one note of that many divisions, "C4" or "" for a rest.
func note(name string, divisions int, more ...string) string {
	what := "<rest/>"
	if name != "" {
		what = fmt.Sprintf("<pitch><step>%s</step><octave>%s</octave></pitch>", name[:1], name[1:])
	}
	return "<note>" + strings.Join(more, "") + what + fmt.Sprintf("<duration>%d</duration></note>", divisions)
}

func metronomeMark(unit string, dots int, perMinute string) string {
	return "<direction><direction-type><metronome><beat-unit>" + unit + "</beat-unit>" +
		strings.Repeat("<beat-unit-dot/>", dots) + "<per-minute>" + perMinute +
		"</per-minute></metronome></direction-type></direction>"
}

func describe(s *score.Score) string {
	var b strings.Builder
	fmt.Fprintf(&b, "pick-up %g, %d measures", s.Spec.PickUp, s.Spec.Measures)
	for _, c := range s.Spec.Changes {
		fmt.Fprintf(&b, "; m%d", c.Measure)
		if c.At > 1 {
			fmt.Fprintf(&b, ".%g", c.At)
		}
		if !c.Meter.IsZero() {
			fmt.Fprintf(&b, " %v", c.Meter)
		}
		if c.BPM != 0 {
			fmt.Fprintf(&b, " %v=%.5g", c.Beat, c.BPM)
		}
	}
	for _, p := range s.Parts {
		fmt.Fprintf(&b, "; %s", p.Name)
		for _, o := range p.Onsets {
			fmt.Fprintf(&b, " %d@%.5g", o.Note, o.Quarter)
		}
	}
	return b.String()
}

func TestRead(t *testing.T) {
	four := attributes(2, "4", "4")
	tempo100 := `<sound tempo="100"/>`
	full := note("C4", 8)
	for _, c := range []struct{ name, text, want string }{
		{"notes, chords, rests and voices", partwise(measures(four + tempo100 +
			note("C4", 2) + note("", 1) + note("E4", 1) + note("G4", 4) + note("B4", 4, "<chord/>") +
			"<backup><duration>8</duration></backup><forward><duration>3</duration></forward>" + note("C3", 5))),
			"pick-up 0, 1 measures; m1 4/4 quarter=100; Part 1 60@0 48@1.5 64@1.5 67@2 71@2"},
		{"ties, grace and cue notes", partwise(measures(four+tempo100+
			`<note><grace/><pitch><step>D</step><octave>4</octave></pitch></note>`+note("C4", 6)+note("C4", 2,
			"<cue/>"),
			note("D4", 4)+note("E4", 4, `<tie type="start"/>`),
			note("E4", 4, `<tie type="stop"/><tie type="start"/>`)+note("E4", 4, `<tie type="stop"/>`))),
			"pick-up 0, 3 measures; m1 4/4 quarter=100; Part 1 60@0 62@4 64@6"},
		{"alterations, transposition and drums",
			partwise(measures(
				`<attributes><divisions>1</divisions><transpose><chromatic>-2</chromatic><octave-change>-1</octave-change></transpose></attributes>` + tempo100 +
					`<note><pitch><step>F</step><alter>1</alter><octave>4</octave></pitch><duration>2</duration></note><note><unpitched/><duration>2</duration></note>`)),
			"pick-up 0, 1 measures; m1 4/4 quarter=100; Part 1 52@0 -1@2"},
		{"triplets", partwise(measures(attributes(3, "1", "4") + tempo100 + note("C4", 1) + note("D4", 1) +
			note("E4", 1))),
			"pick-up 0, 1 measures; m1 1/4 quarter=100; Part 1 60@0 62@0.33333 64@0.66667"},
		// <sound tempo> counts quarters; the metronome its beat unit (MusicXML 4.0).
		{"metronome in 6/8", partwise(measures(attributes(2, "6", "8") + metronomeMark("quarter", 1, "80") +
			note("C4", 6))),
			"pick-up 0, 1 measures; m1 6/8 dotted-quarter=80; Part 1 60@0"},
		{"metronome in 2/2", partwise(measures(attributes(1, "2", "2") + metronomeMark("half", 0, "c. 60") +
			note("C4", 4))),
			"pick-up 0, 1 measures; m1 2/2 half=60; Part 1 60@0"},
		{"sound and metronome that agree", partwise(measures(attributes(2, "6", "8") +
			`<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit-dot/><per-minute>80</per-minute></metronome></direction-type><sound tempo="120"/></direction>` + note("C4", 6))),
			"pick-up 0, 1 measures; m1 6/8 dotted-quarter=80; Part 1 60@0"},
		{"sound and metronome that do not", partwise(measures(four +
			`<direction><direction-type><metronome><beat-unit>quarter</beat-unit><per-minute>80</per-minute></metronome></direction-type><sound tempo="90"/></direction>` + full)),
			"pick-up 0, 1 measures; m1 4/4 quarter=90; Part 1 60@0"},
		{"tempo within a measure, with an offset", partwise(measures(four+tempo100+note("C4", 4)+
			`<direction><direction-type><words>a tempo</words></direction-type><offset>2</offset><sound tempo="120"/></direction>`+note("D4", 4), full)),
			"pick-up 0, 2 measures; m1 4/4 quarter=100; m1.4 quarter=120; Part 1 60@0 62@2 60@4"},
		{"tempo at the end of a measure", partwise(
			measures(four+tempo100+full+`<sound tempo="50"/><sound tempo="60"/>`, full)),
			"pick-up 0, 2 measures; m1 4/4 quarter=100; m2 quarter=60; Part 1 60@0 60@4"},
		{"tempo in a late part counts", partwise(measures(four+full, full),
			measures(four+full, `<sound tempo="77"/>`+full)),
			"pick-up 0, 2 measures; m1 4/4 quarter=77; Part 1 60@0 60@4; Part 2 60@0 60@4"},
		{"meters", partwise(measures(four+tempo100+full, attributes(2, "3+2", "8")+note("C4", 5),
			`<attributes><time><beats>3</beats><beat-type>8</beat-type><beats>1</beats><beat-type>4</beat-type></time></attributes>`+note("C4", 5))),
			"pick-up 0, 3 measures; m1 4/4 quarter=100; m2 3+2/8; Part 1 60@0 60@4 60@6.5"},
		{"pick-up", partwise(`<measure number="0" implicit="yes">` + four + tempo100 + note("G4", 2) + `</measure>` +
			measures(full, full)),
			"pick-up 1, 2 measures; m0 4/4 quarter=100; Part 1 67@-1 60@0 60@4"},
		{"pick-up and a short last measure", partwise(`<measure number="0" implicit="yes">` + four + tempo100 +
			note("G4", 1) + `</measure>` + measures(full, note("C4", 7))),
			"pick-up 0.5, 2 measures; m0 4/4 quarter=100; m2 7/8; Part 1 67@-0.5 60@0 60@4"},
		{"a measure split at a repeat", partwise(measures(four+tempo100+full, note("C4", 6), note("D4", 2), full)),
			"pick-up 0, 4 measures; m1 4/4 quarter=100; m2 3/4; m3 1/4; m4 4/4; Part 1 60@0 60@4 62@7 60@8"},
		{"rounded tuplets", partwise(measures(attributes(480, "4", "4") + tempo100 + note("C4", 1919))),
			"pick-up 0, 1 measures; m1 4/4 quarter=100; Part 1 60@0"},
		{"empty measures", partwise(measures(four+tempo100, "", full)),
			"pick-up 0, 3 measures; m1 4/4 quarter=100; Part 1 60@8"},
		{"nothing given", partwise(measures(note("C4", 4))),
			"pick-up 0, 1 measures; m1 4/4 quarter=120; Part 1 60@0"},
		{"senza misura", partwise(measures(`<attributes><time><senza-misura/></time></attributes>`+tempo100+note("C4",
			7), attributes(1, "3", "4")+note("C4", 3))),
			"pick-up 0, 2 measures; m1 7/4 quarter=100; m2 3/4; Part 1 60@0 60@7"},
		{"silent parts are left out", partwise(measures(four+tempo100+note("", 8)), measures(four+full)),
			"pick-up 0, 1 measures; m1 4/4 quarter=100; Part 2 60@0"},
	} {
		s, err := Read(strings.NewReader(c.text))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if got := describe(s); got != c.want {
			t.Errorf("%s:\n got %s\nwant %s", c.name, got, c.want)
		}
		if s.Title != "Round" {
			t.Errorf("%s: title %q", c.name, s.Title)
		}
	}
}

// TestRepeats plays one-note measures and names the notes in the order played.
func TestRepeats(t *testing.T) {
	barline := func(s string) string { return "<barline>" + s + "</barline>" }
	const (
		forward  = `<repeat direction="forward"/>`
		backward = `<repeat direction="backward"/>`
	)
	start := func(n string) string { return `<ending number="` + n + `" type="start"/>` }
	const stop = `<ending number="" type="stop"/>`
	for _, c := range []struct {
		name, want string
		bars       []string // what surrounds the notes A, B, C, ...
	}{
		{"none", "A B C", []string{"", "", ""}},
		{"from the beginning", "A B A B C", []string{"", barline(backward), ""}},
		{"from a sign", "A B C B C D", []string{"", barline(forward), barline(backward), ""}},
		{"three times", "A A A B", []string{barline(`<repeat direction="backward" times="3"/>`), ""}},
		{"two in a row", "A A B B C", []string{barline(backward), barline(backward), ""}},
		{"endings", "A B A C D", []string{"", barline(start("1") + stop + backward), barline(start("2") + stop), ""}},
		{"long endings", "A B C A D E F", []string{"", barline(start("1")), barline(stop + backward),
			barline(start("2")), barline(`<ending number="2" type="discontinue"/>`), ""}},
		{"an ending for two passes", "A B A B A C D",
			[]string{"", barline(start("1, 2") + stop + backward), barline(start("3") + stop), ""}},
		{"two passages with endings", "A B A C D E D F", []string{"", barline(start("1") + stop + backward),
			barline(start("2") + stop), "", barline(start("1") + stop + backward), barline(start("2") + stop)}},
		{"an ending with signs right behind", "A B A C D E D F G", []string{barline(forward),
			barline(start("1") + stop + backward), barline(start("2") + stop), barline(forward),
			barline(start("1") + stop + backward), barline(start("2") + stop), ""}},
		{"both endings repeat", "A B A C D", []string{"", barline(start("1") + stop + backward),
			barline(start("2") + stop + backward), ""}},
	} {
		contents := make([]string, len(c.bars))
		for i, b := range c.bars {
			contents[i] = note(string(rune('A'+i))+"4", 4) + b
		}
		contents[0] = attributes(1, "4", "4") + contents[0]
		s, err := Read(strings.NewReader(partwise(measures(contents...))))
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		var got []string
		for i, o := range s.Parts[0].Onsets {
			// Notes A4 to G4 by their keys.
			name := map[int]string{69: "A", 71: "B", 60: "C", 62: "D", 64: "E", 65: "F", 67: "G"}[o.Note]
			got = append(got, name)
			if o.Quarter != float64(4*i) {
				t.Errorf("%s: note %d at %g", c.name, i, o.Quarter)
			}
			paper := tempo.Place{Number: fmt.Sprint(i + 1)}
			if len(s.Spec.Paper) > 0 {
				paper = s.Spec.Paper[i]
			}
			if want := fmt.Sprint(strings.Index("ABCDEFG", name) + 1); paper.Number != want {
				t.Errorf("%s: measure %d is printed %s, want %s", c.name, i+1, paper.Number, want)
			}
		}
		if g := strings.Join(got, " "); g != c.want || s.Spec.Measures != len(got) {
			t.Errorf("%s: %s in %d measures, want %s", c.name, g, s.Spec.Measures, c.want)
		}
	}
}

// After a jump back the tempo and meter are those written there.
func TestRepeatKeepsWrittenTempo(t *testing.T) {
	s, err := Read(strings.NewReader(partwise(measures(
		attributes(1, "4", "4")+`<sound tempo="100"/>`+note("C4", 4),
		attributes(1, "3", "4")+note("C4", 2)+`<sound tempo="60"/>`+note("C4",
			1)+`<barline><repeat direction="backward"/></barline>`))))
	if err != nil {
		t.Fatal(err)
	}
	want := "pick-up 0, 4 measures; m1 4/4 quarter=100; m2 3/4; m2.3 quarter=60; m3 4/4 quarter=100; m4 3/4; m4.3 " +
		"quarter=60; Part 1 60@0 60@4 60@6 60@7 60@11 60@13"
	if got := describe(s); got != want {
		t.Errorf("got %s\nwant %s", got, want)
	}
}

func TestRemarks(t *testing.T) {
	s, err := Read(strings.NewReader(partwise(measures(
		attributes(1, "4", "4")+note("C4", 2)+
			`<attributes><time><beats>3</beats><beat-type>4</beat-type></time></attributes>`+note("C4", 2),
		`<direction><direction-type><metronome><beat-unit>quarter</beat-unit><beat-unit>half</beat-unit></metronome></direction-type></direction>`+note("C4", 4),
		metronomeMark("quarter", 0, "fast")+note("C4", 4, "<notations><fermata/></notations>"),
		note("C4", 3),
		note("C4", 4)+`<direction><sound dacapo="yes"/></direction>`),
		measures(attributes(1, "2", "2")+note("C4", 4)))))
	if err != nil {
		t.Fatal(err)
	}
	want := []string{
		"measure 1: a time signature within the measure is left out",
		"measure 2: a metronome mark without a number is left out",
		"measure 3: a metronome mark of quarter = fast is left out",
		"measure 1: the parts have different time signatures, 4/4 of the first is taken",
		"the score gives no tempo: 120 quarters a minute are taken",
		"measure 3: \"fermata\" is not followed; interpret: yes would make it a hold of 0.5 s on beat 4",
		"measure 4: it holds 3 quarter notes, its time signature 4: its own length is taken",
		"measure 5: da capo without fine or coda: the piece is played on to its last measure",
	}
	if got := strings.Join(s.Remarks, "\n"); got != strings.Join(want, "\n") {
		t.Errorf("remarks:\n%s", got)
	}
}

func TestTimewise(t *testing.T) {
	text := `<score-timewise><movement-title>Round</movement-title><part-list><score-part id="A"><part-name>Oboe</part-name></score-part></part-list>` +
		`<measure number="1"><part id="A">` + attributes(1, "3", "4") + note("C4", 3) + `</part><part id="B">` +
		note("D4", 3) + `</part></measure>` +
		`<measure number="2"><part id="A">` + note("E4", 3) + `</part><part id="B">` + note("F4", 2) + note("G4", 1) +
		`</part></measure></score-timewise>`
	s, err := Read(strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	if got, want := s.Title+" "+describe(s), "Round pick-up 0, 2 measures; m1 3/4 quarter=120; Oboe 60@0 64@3; B "+
		"62@0 65@3 67@5"; got != want {
		t.Errorf("got %s\nwant %s", got, want)
	}
}

func FuzzRead(f *testing.F) {
	four := attributes(2, "4", "4")
	for _, s := range []string{"", "<score-partwise/>", "dear all",
		partwise(measures(four+`<sound tempo="100"/>`+note("C4", 2)+note("E4", 6, "<chord/>"),
			note("D4", 8)+`<barline><repeat direction="backward"/></barline>`)),
		partwise(`<measure number="0" implicit="yes">` + attributes(2, "6", "8") + metronomeMark("quarter", 1, "80") +
			note("G4", 1) + `</measure>` + measures(note("C4", 6))),
		partwise(measures(attributes(3, "3+2", "8"),
			`<barline><ending number="1" type="start"/><repeat direction="backward"/></barline>`,
			`<barline><ending number="2" type="start"/></barline>`)),
		`<score-timewise><measure number="1"><part id="A">` + four + note("C4", 8) +
			`</part></measure></score-timewise>`,
	} {
		f.Add([]byte(s))
	}
	f.Add(compressed(f, "META-INF/container.xml", container, "round.musicxml", partwise(measures(four+note("C4", 8)))))
	f.Fuzz(func(t *testing.T, data []byte) {
		s, err := Read(bytes.NewReader(data))
		if err != nil {
			return
		}
		m, err := tempo.New(s.Spec)
		if err != nil {
			t.Fatalf("read, but has no map: %v", err)
		}
		if n := len(s.Spec.Paper); n > 0 && n != m.Measures() {
			t.Fatalf("%d places on paper for %d measures", n, m.Measures())
		}
		for _, p := range s.Parts {
			last := math.Inf(-1)
			for _, o := range p.Onsets {
				if o.Quarter < last || o.Note < -1 || o.Note > 127 {
					t.Fatalf("%s: %+v after %v", p.Name, o, last)
				}
				last = o.Quarter
			}
		}
	})
}

func BenchmarkRead(b *testing.B) {
	contents := make([]string, 200)
	for i := range contents {
		contents[i] = strings.Repeat(note("C4", 1)+note("D4", 1), 4)
	}
	contents[0] = attributes(2, "4", "4") + contents[0]
	part := measures(contents...)
	text := partwise(part, part, part, part)
	b.SetBytes(int64(len(text)))
	for b.Loop() {
		if _, err := Read(strings.NewReader(text)); err != nil {
			b.Fatal(err)
		}
	}
}
