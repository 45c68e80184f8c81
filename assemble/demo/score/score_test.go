package score

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"ripieno/mix/tempo"
)

// waltz returns three measures, the last of them in 6/8.
func waltz(t testing.TB) tempo.Spec {
	t.Helper()
	three, err := tempo.ParseMeter("3/4")
	if err != nil {
		t.Fatal(err)
	}
	six, err := tempo.ParseMeter("6/8")
	if err != nil {
		t.Fatal(err)
	}
	return tempo.Spec{Changes: []tempo.Change{{Measure: 1, Meter: three, BPM: 60}, {Measure: 3, Meter: six, BPM: 60}},
		Measures: 3}
}

func show(p Part) string {
	var b strings.Builder
	for _, n := range p.Notes {
		fmt.Fprintf(&b, "%d.%d-%d.%d %v %.2f", n.From.Measure, n.From.Tick, n.To.Measure, n.To.Tick, n.Pitches, n.Level)
		if n.Short {
			b.WriteString(" short")
		}
		b.WriteString("; ")
	}
	return strings.TrimSuffix(b.String(), "; ")
}

func TestParse(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"C4:q D4:q E4:q |", "1.0-1.48 [60] 0.65; 1.48-1.96 [62] 0.65; 1.96-2.0 [64] 0.65"},
		{"p C4:h. | f r:h E4:q' |", "1.0-2.0 [60] 0.38; 2.96-3.0 [64] 0.82 short"},
		{"C4:h.~ | C4:q r:h |", "1.0-2.48 [60] 0.65"},
		{"R*2 F#5:q. Bb3:q. |", "3.0-3.72 [78] 0.65; 3.72-4.0 [58] 0.65"},
		{"[D3 A3 F4]:h. | R*1 |", "1.0-2.0 [50 57 65] 0.65"},
		{"C4:q.. C4:s C4:q |", "1.0-1.84 [60] 0.65; 1.84-1.96 [60] 0.65; 1.96-2.0 [60] 0.65"},
		{"| C4:h. | |", "1.0-2.0 [60] 0.65"},
		{"", ""},
	} {
		p, err := Parse("x", tt.text, waltz(t))
		if err != nil {
			t.Errorf("%q: %v", tt.text, err)
			continue
		}
		if got := show(p); got != tt.want {
			t.Errorf("%q:\n got %s\nwant %s", tt.text, got, tt.want)
		}
	}
}

func TestParseErrors(t *testing.T) {
	for _, tt := range []struct{ text, want string }{
		{"C4:q D4:q |", "measure 1 is 96 ticks long, not 144"},
		{"C4:q D4:q", "measure 1 is 96 ticks long, not 144"},
		{"C4:w |", "measure 1: \"C4:w\": goes 48 ticks over the bar line"},
		{"R*2 C4:h. |", "measure 3: \"C4:h.\": goes on after the last measure"}, // ends exactly with the piece
		{"R*3 C4:q", "goes on after the last measure"},
		{"R*4", "goes on after the last measure"},
		{"C4:q R*1", "measures of rest begin at a bar line"},
		{"R*x", "not a number of measures"},
		{"C4", "no value"},
		{"C4:", "a value is one of"},
		{"C4:z", "a value is one of"},
		{"C4:q!", "unknown mark '!'"},
		{"H4:q", `"H4" is not a pitch`},
		{"C44:q", `"C44" is not a pitch`},
		{"C:q", `"C" is not a pitch`},
		{"[C4 E4:q", "the chord is not closed"},
		{"[]:q", "the chord is empty"},
		{"[C4 X]:q", `"X" is not a pitch`},
		{"C4:q~ D4:q", "tied to another pitch"},
		{"C4:q~ r:q", "a rest cannot be tied"},
		{"r:q~", "a rest cannot be tied"},
	} {
		_, err := Parse("x", tt.text, waltz(t))
		if tt.text == "R*2 C4:h. |" {
			if err != nil {
				t.Errorf("%q fits the last measure: %v", tt.text, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%q: %v, want %q", tt.text, err, tt.want)
		}
	}
}

// Note numbers as in the MIDI standard: 60 = C4, and A4 = 69.
func TestParsePitch(t *testing.T) {
	for name, want := range map[string]int{"C4": 60, "A4": 69, "C2": 36, "G3": 55, "E4": 64, "C8": 108, "F#2": 42,
		"Bb3": 58, "B3": 59, "Cb4": 59, "A0": 21} {
		if got, err := ParsePitch(name); err != nil || got != want {
			t.Errorf("%s = %d, %v, want %d", name, got, err, want)
		}
	}
}

func FuzzParse(f *testing.F) {
	f.Add("mp D5:q F5:q G5:q. | [D3 A3]:h.~ | R*1")
	f.Add("C4:h.~ | C4:h.~ | C4:h.")
	f.Add("[[]]:q ':q ~ R*999999999999 R*-1")
	spec := waltz(f)
	f.Fuzz(func(t *testing.T, text string) {
		p, err := Parse("x", text, spec)
		if err != nil {
			return
		}
		end := Place{1, 0}
		before := func(a, b Place) bool {
			return a.Measure < b.Measure || a.Measure == b.Measure && a.Tick < b.Tick
		}
		for _, n := range p.Notes {
			if before(n.From, end) || !before(n.From, n.To) || before(Place{4, 0}, n.To) || len(n.Pitches) == 0 {
				t.Fatalf("%q gives %+v after %+v", text, n, end)
			}
			end = n.To
		}
	})
}

func TestSeconds(t *testing.T) {
	m, err := tempo.New(waltz(t))
	if err != nil {
		t.Fatal(err)
	}
	// A quarter is 1 s in 3/4; in 6/8 a dotted quarter is.
	for place, want := range map[Place]float64{{1, 0}: 0, {1, 24}: 0.5, {2, 0}: 3, {2, 96}: 5, {3, 0}: 6,
		{3, 24}: 6 + 1.0/3, {4, 0}: 8} {
		got, err := Seconds(m, place)
		if err != nil || math.Abs(got-want) > 1e-9 {
			t.Errorf("%+v at %v, %v, want %v", place, got, err, want)
		}
	}
	if _, err := Seconds(m, Place{5, 0}); err == nil {
		t.Error("a place after the end has a time")
	}
}

// The parts fit their instruments (sounding ranges from memory), are all
// different, have rests, and end together in D major.
func TestLamplighter(t *testing.T) {
	p := Lamplighter()
	if len(p.Parts) < 9 {
		t.Fatalf("%d parts", len(p.Parts))
	}
	ranges := map[string][2]string{
		"Flute": {"C4", "C7"}, "Oboe": {"Bb3", "G6"}, "Clarinet": {"D3", "F6"}, "Horn": {"F#2", "C#5"},
		"Glockenspiel": {"E6", "D8"},
		"Violin":       {"G3", "A7"}, "Viola": {"C3", "E6"}, "Cello": {"C2", "C6"}, "Guitar": {"D2", "B5"},
	}
	seen := map[string]string{}
	ends := map[int]bool{}
	for _, part := range p.Parts {
		r, ok := ranges[part.Name]
		if !ok {
			t.Fatalf("no range known for %s", part.Name)
		}
		low, _ := ParsePitch(r[0])
		high, _ := ParsePitch(r[1])
		for _, n := range part.Notes {
			for _, pitch := range n.Pitches {
				if pitch < low || pitch > high {
					t.Errorf("%s, measure %d: pitch %d is not on the instrument", part.Name, n.From.Measure, pitch)
				}
			}
		}
		text := show(part)
		if other, ok := seen[text]; ok {
			t.Errorf("%s plays what %s plays", part.Name, other)
		}
		seen[text] = part.Name
		last := part.Notes[len(part.Notes)-1]
		if (last.To != Place{25, 0}) {
			t.Errorf("%s ends at %+v", part.Name, last.To)
		}
		for _, pitch := range last.Pitches {
			ends[pitch%12] = true
		}
	}
	if fmt.Sprint(ends) != "map[2:true 6:true 9:true]" {
		t.Errorf("the last chord has pitch classes %v, want those of D major", ends)
	}
	for name, first := range map[string]int{"Violin": 1, "Oboe": 5, "Flute": 9, "Clarinet": 13} {
		if got := p.Part(name).Notes[0].From.Measure; got != first {
			t.Errorf("%s comes in at measure %d, want %d", name, got, first)
		}
	}
}

// On every half of a measure of the round, what begins there belongs to one
// chord: the ground's, with its seventh.
func TestHarmony(t *testing.T) {
	ground := []string{"D F A", "G Bb D F", "C E G Bb", "F A C E", "Bb D F A", "E G Bb D", "A C# E G", "A C# E G"}
	p := Lamplighter()
	for _, part := range p.Parts {
		for _, n := range part.Notes {
			m := n.From.Measure
			if m > 16 || n.From.Tick%(2*Quarter) != 0 {
				continue
			}
			half := (m-1)%4*2 + n.From.Tick/(2*Quarter)
			chord := map[int]bool{}
			for name := range strings.FieldsSeq(ground[half]) {
				pitch, err := ParsePitch(name + "4")
				if err != nil {
					t.Fatal(err)
				}
				chord[pitch%12] = true
			}
			for _, pitch := range n.Pitches {
				if !chord[pitch%12] {
					t.Errorf("%s, measure %d tick %d: pitch %d is not in %s", part.Name, m, n.From.Tick, pitch,
						ground[half])
				}
			}
		}
	}
}

func TestPartPanicsWithoutIt(t *testing.T) {
	defer func() {
		if recover() == nil {
			t.Error("no panic")
		}
	}()
	Lamplighter().Part("Kazoo")
}
