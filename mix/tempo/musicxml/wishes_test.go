package musicxml

import (
	"math"
	"strings"
	"testing"

	"ripieno/mix/tempo"
	"ripieno/mix/tempo/score"
)

// saying returns a direction with words.
func saying(text string) string {
	return "<direction><direction-type><words>" + text + "</words></direction-type></direction>"
}

// wished returns a score of measures of 4/4 at 120, a whole note in each, with what is
// given before the note of each.
func wished(t *testing.T, before ...string) *score.Score {
	t.Helper()
	contents := make([]string, len(before))
	for i, b := range before {
		contents[i] = b + note("C4", 4)
		if half, ok := strings.CutPrefix(b, "half:"); ok { // at the middle of the measure
			contents[i] = note("C4", 2) + half + note("D4", 2)
		}
		if strings.HasPrefix(b, "<notations>") {
			contents[i] = note("C4", 4, b)
		}
	}
	contents[0] = attributes(1, "4", "4") + `<sound tempo="120"/>` + contents[0]
	s, err := Read(strings.NewReader(partwise(measures(contents...))))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// Wishes change nothing until they are asked for, and are named either way. Durations
// are worked out by hand: a ramp from v0 to v1 over n quarters takes
// 60·n·ln(v1/v0)/(v1 − v0) seconds.
func TestWishes(t *testing.T) {
	ramp := func(quarters, from, to float64) float64 { return 60 * quarters * math.Log(to/from) / (to - from) }
	const fermata = `<notations><fermata/></notations>`
	for _, c := range []struct {
		name    string
		bars    []string
		seconds float64
		remarks string
	}{
		{"rit. and a tempo", []string{"", saying("rit."), "", saying("a tempo")}, 2 + ramp(8, 120, 96) + 2,
			`measure 2: "rit." R quarter = 120 to 96 from beat 1 until measure 4|` +
				`measure 4: "a tempo" R quarter = 120 from beat 1`},
		{"rit. that stays", []string{saying("molto rit."), "", ""}, ramp(8, 120, 78) + 4*60/78.0,
			`measure 1: "molto rit." R quarter = 120 to 78 from beat 1 until measure 3`},
		{"poco accel. from the middle", []string{"half:" + saying("poco accel."), saying("a tempo")},
			1 + ramp(2, 120, 135) + 2, `measure 1: "poco accel." R quarter = 120 to 135 from beat 3 until measure 2|` +
				`measure 2: "a tempo" R quarter = 120 from beat 1`},
		{"rit. to a tempo in numbers", []string{saying("ritardando"), "", "", `<sound tempo="60"/>`},
			ramp(12, 120, 60) + 4, `measure 1: "ritardando" R quarter = 120 to 60 from beat 1 until measure 4`},
		{"rit. before a faster tempo", []string{saying("rall."), `<sound tempo="150"/>`}, ramp(4, 120, 96) + 1.6,
			`measure 1: "rall." R quarter = 120 to 96 from beat 1 until measure 2`},
		{"meno mosso and tempo primo", []string{"", saying("meno mosso"), saying("Tempo I")}, 2 + 2.5 + 2,
			`measure 2: "meno mosso" R quarter = 96 from beat 1|measure 3: "Tempo I" R quarter = 120 from beat 1`},
		{"a fermata", []string{fermata, ""}, 4.5, `measure 1: "fermata" R a hold of 0.5 s on beat 4`},
		{"a caesura", []string{"<notations><articulations><caesura/></articulations></notations>", ""}, 4.25,
			`measure 1: "caesura" R a hold of 0.25 s on beat 4`},
		{"a fermata in a ritardando", []string{saying("rit."), fermata}, ramp(8, 120, 96) + 60/96.0,
			`measure 1: "rit." R quarter = 120 to 96 from beat 1 until the end of measure 2|` +
				`measure 2: "fermata" R a hold of 0.625 s on beat 4`},
		{"German", []string{"", saying("langsamer werden"), saying("im Zeitmaß")}, 2 + ramp(4, 120, 96) + 2,
			`measure 2: "langsamer werden" R quarter = 120 to 96 from beat 1 until measure 3|` +
				`measure 3: "im Zeitmaß" R quarter = 120 from beat 1`},
		{"a tempo without cause, and other words", []string{saying("a tempo"), saying("dolce")}, 4, ""},
	} {
		plain := wished(t, c.bars...)
		for _, follow := range []bool{false, true} {
			s, err := plain.Play(score.PlayOptions{Interpret: follow})
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
				continue
			}
			m, err := tempo.New(s.Spec)
			if err != nil {
				t.Errorf("%s: %v", c.name, err)
				continue
			}
			words, want := "is followed as", c.seconds
			if !follow {
				words, want = "is not followed; interpret: yes would make it", plainSeconds(c.bars)
			}
			if d := m.End(); math.Abs(d-want) > 1e-3 {
				t.Errorf("%s, followed %v: %.4f s, want %.4f", c.name, follow, d, want)
			}
			if got, want := strings.Join(s.Remarks, "|"), strings.ReplaceAll(c.remarks, "R", words); got != want {
				t.Errorf("%s:\n got %s\nwant %s", c.name, got, want)
			}
		}
	}
}

// plainSeconds is how long the measures last without any wish.
func plainSeconds(bars []string) float64 {
	bpm, sum := 120.0, 0.0
	for _, b := range bars {
		switch b {
		case `<sound tempo="60"/>`:
			bpm = 60
		case `<sound tempo="150"/>`:
			bpm = 150
		}
		sum += 240 / bpm
	}
	return sum
}

// A wish is followed each time its measure is played, and a ramp that a jump cuts is
// as steep as on paper.
func TestWishesInRepeats(t *testing.T) {
	s := wished(t, "", saying("rit."), `<barline><repeat direction="backward"/></barline>`)
	s, err := s.Play(score.PlayOptions{Interpret: true})
	if err != nil {
		t.Fatal(err)
	}
	m, err := tempo.New(s.Spec)
	if err != nil {
		t.Fatal(err)
	}
	want := 2 * (2 + 60*8*math.Log(96.0/120)/(96-120))
	if d := m.End(); m.Measures() != 6 || math.Abs(d-want) > 1e-3 {
		t.Errorf("%d measures, %.4f s, want %.4f", m.Measures(), d, want)
	}
}

// A person's tempo replaces what the score says in its measures, and another order
// that of the score.
func TestPlayOptions(t *testing.T) {
	s := wished(t, "", saying("rit."), "", saying("a tempo")+`<sound tempo="100"/>`, `<sound dacapo="yes"/>`)
	for _, c := range []struct {
		name    string
		o       score.PlayOptions
		seconds float64
		remarks int
	}{
		{"as written", score.PlayOptions{}, 2 * (3*2 + 2*2.4), 2},
		{"an order", score.PlayOptions{Order: []tempo.Span{{From: 1, To: 2}, {From: 4, To: 4}}}, 2 + 2 + 2.4, 1},
		{"a tempo instead of rit.", score.PlayOptions{Order: []tempo.Span{{From: 1, To: 5}},
			Changes: []tempo.Change{{Measure: 2, BPM: 60}}}, 2 + 8 + 4.8, 0},
		{"a ramp", score.PlayOptions{Order: []tempo.Span{{From: 1, To: 5}},
			Changes: []tempo.Change{{Measure: 2, RampTo: 60, Until: 4}}}, 2 + 8*math.Ln2 + 4.8, 0},
		{"a ramp to the end", score.PlayOptions{Order: []tempo.Span{{From: 1, To: 5}},
			Changes: []tempo.Change{{Measure: 4, BPM: 120, RampTo: 60, Until: 6}}}, 6 + 8*math.Ln2, 1},
	} {
		p, err := s.Play(c.o)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		m, err := tempo.New(p.Spec)
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if d := m.End(); math.Abs(d-c.seconds) > 1e-3 || len(p.Remarks) != c.remarks {
			t.Errorf("%s: %.4f s, want %.4f; %q", c.name, d, c.seconds, p.Remarks)
		}
	}
	for _, o := range []score.PlayOptions{
		{Order: []tempo.Span{{From: 2, To: 9}}}, {Order: []tempo.Span{{From: 3, To: 2}}},
		{Changes: []tempo.Change{{Measure: 9, BPM: 60}}}, {Changes: []tempo.Change{{Measure: 2, RampTo: 60, Until: 2}}},
	} {
		if p, err := s.Play(o); err == nil {
			t.Errorf("%+v is played: %+v", o, p.Spec)
		}
	}
}

func TestWishWords(t *testing.T) {
	for _, text := range []string{"", "dolce", "ritmico", "stringed", "tempo di valse", "Allegro", "a", "accent",
		"con moto"} {
		if w, ok := readWish(text); ok {
			t.Errorf("%q is %+v", text, w)
		}
	}
	for text, want := range map[string]float64{"poco rit.": 0.9, "rit. molto": 0.65, "Un poco più mosso": 1.125,
		"piu mosso": 1.25, "accelerando poco a poco": 1.125, "allmählich langsamer": 0.8, "poco a poco accel.": 1.125,
		"a tempo": 1, "Tempo I°": 1} {
		if w, ok := readWish(text); !ok || math.Abs(w.Factor-want) > 1e-9 {
			t.Errorf("%q is %+v (%v), want %g", text, w, ok, want)
		}
	}
}
