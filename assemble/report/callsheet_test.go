package report

import (
	"bytes"
	"flag"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/report/phrase"
	"ripieno/mix/tempo"
)

var update = flag.Bool("update", false, "write the pages as they are now; look at every difference")

func meter(t testing.TB, s string) tempo.Meter {
	t.Helper()
	m, err := tempo.ParseMeter(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func build(t testing.TB, s tempo.Spec) *tempo.Map {
	t.Helper()
	m, err := tempo.New(s)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func words(t testing.TB, language string) *phrase.Book {
	t.Helper()
	b, err := phrase.Open(language, nil)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

// lamplighter returns a piece with everything in it: cut time, a change of meter, a
// ramp and a hold. A count-in of 16 half notes at 88 puts measure 1 at
// 16·60/88 = 10.909 s and the cue at 5.4545 s.
func lamplighter(t testing.TB) *tempo.Map {
	return build(t, tempo.Spec{
		CountIn: tempo.CountIn{Measures: 8}, Measures: 72,
		Changes: []tempo.Change{
			{Measure: 1, Meter: meter(t, "2/2"), BPM: 88},
			{Measure: 41, Meter: meter(t, "6/8"), BPM: 72},
			{Measure: 60, RampTo: 54, Until: 64},
		},
		Holds: []tempo.Hold{{At: tempo.Position{Measure: 71, Beat: 2}, Seconds: 1.5}},
	})
}

func sheet(t testing.TB, language string) Sheet {
	m := lamplighter(t)
	return Sheet{
		Words: words(t, language), Title: "The Lamplighter's Round", Composer: "Ottilie Marsh",
		Ensemble: "Nether Wick Evening Players",
		Guide: Guide{
			File: "guide", Tempo: m, Piece: m, First: 1, PitchHz: 440, Tail: 4, CountTones: true,
			Drones: []Tone{{Note: "D3", CountIn: true}, {Note: "G2", Fifth: true, Measure: 41}},
		},
		Due:    words(t, language).Date(time.Date(2031, 6, 12, 0, 0, 0, 0, time.UTC), "20:00"),
		SendTo: "takes@example.org", Contact: "Mara Voss",
		Notes: "Horns: mutes from measure 20 to 40.\n\nThe repeat is written out\nin the parts.",
	}
}

// mine returns the sheet of one player.
func mine(t testing.TB, language string) Sheet {
	s := sheet(t, language)
	s.Player = &Player{Name: "Mara Voss", Part: "Oboe 1", File: "oboe-1", Guide: "guide"}
	return s
}

// everybody returns the sheet for all, with a roll.
func everybody(t testing.TB, language string) Sheet {
	s := sheet(t, language)
	s.Roll = []Player{
		{"Mara Voss", "Oboe 1", "oboe-1", "guide"}, {"Ilse Brandt", "Horn 2", "horn-2", "guide-from-33"},
		{"Jory Penhallow", "Violoncello", "cello", "guide-loud"},
	}
	return s
}

// retake returns the sheet of a player who records measures 38 to 64 again.
func retake(t testing.TB, language string) Sheet {
	s := mine(t, language)
	spec, err := s.Guide.Piece.Excerpt(tempo.Span{From: 38, To: 64})
	if err != nil {
		t.Fatal(err)
	}
	s.Guide.Tempo, s.Guide.First, s.Guide.Own, s.Guide.Others, s.Guide.File = build(t, spec), 38, true, true,
		"guide-from-38"
	s.Guide.Drones = s.Guide.Drones[1:]
	return s
}

func render(t testing.TB, s Sheet) string {
	t.Helper()
	var b bytes.Buffer
	if err := CallSheet(&b, s); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// Where somebody conducts in the film of a guide, its page says which film, in every
// language; elsewhere no page speaks of one.
func TestSheetsNameTheConductorsFilm(t *testing.T) {
	for _, language := range phrase.Languages() {
		s := mine(t, language)
		if page := render(t, s); strings.Contains(page, "guide.mp4") {
			t.Errorf("%s: a film of nobody", language)
		}
		s.Guide.Conducted, s.Guide.File = true, "guide-loud"
		if page := render(t, s); strings.Count(page, "guide-loud.mp4") != 1 {
			t.Errorf("%s: %d times the film", language, strings.Count(page, "guide-loud.mp4"))
		}
	}
}

func TestGoldenPages(t *testing.T) {
	for name, s := range map[string]Sheet{
		"player-en": mine(t, "en"), "everybody-de": everybody(t, "de"), "retake-it": retake(t, "it"),
	} {
		path := "testdata/" + name + ".html"
		got := render(t, s)
		if *update {
			if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		want, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if got != string(want) {
			g, w := strings.Split(got, "\n"), strings.Split(string(want), "\n")
			for i := range min(len(g), len(w)) {
				if g[i] != w[i] {
					t.Errorf("%s line %d:\n got %s\nwant %s", name, i+1, g[i], w[i])
					break
				}
			}
			t.Errorf("%s differs (%d lines, want %d)", path, len(g), len(w))
		}
	}
}

// text returns what a person reads of a page, tags and style taken out.
func text(page string) string {
	page = page[strings.Index(page, "<body"):]
	page = regexp.MustCompile(`<[^>]*>`).ReplaceAllString(page, " ")
	page = strings.NewReplacer("&#39;", "'", "&#34;", `"`, "&amp;", "&", "&#43;", "+", "&lt;", "<", "&gt;",
		">").Replace(page)
	return strings.Join(strings.Fields(page), " ")
}

// The times on the page are those of the tempo map: 8 half notes of 60/88 s to
// the cue, 16 to the first measure.
func TestWhenToClap(t *testing.T) {
	page := text(render(t, mine(t, "en")))
	for _, want := range []string{
		"Clap at 5.45 s count-in measure 5, beat 1",
		"Music at 10.91 s measure 1",
		"On beat 1 of count-in measure 5, 5.45 seconds after the guide begins, you hear a different sound",
		"a count-in of 8 measures of 2/2, 2 beats each",
		"Clap once on the cue: beat 1 of count-in measure 5, 5.45 seconds into the guide.",
		"stay still and silent for 4 seconds",
		"Please tune to A = 440 Hz, and to the quiet drone in the guide: D3 from the count-in on, G2 with its fifth " +
			"from measure 41.",
		"1 2/2 half note = 88",
		"41 6/8 dotted quarter note = 72",
		"60 slowing down to 54 at measure 64",
		"71, beat 2 a hold: wait 1.5 seconds, without clicks",
		"File name: oboe-1. Leave the ending",
		"Send it to takes@example.org, by Thursday, 12 June 2031, 20:00.",
		"Mara Voss · Oboe 1",
		"WHO-ITU H.870 allows 80 dBA for 40 hours a week",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if t.Failed() {
		t.Log(page)
	}
}

func TestRetake(t *testing.T) {
	page := text(render(t, retake(t, "en")))
	for _, want := range []string{
		"it plays measures 38 to 64 only", "Music at 10.91 s measure 38",
		"The music begins with measure 38 at 10.91 s.",
		"38 2/2 half note = 88", "41 6/8 dotted quarter note = 72", "60 slowing down to 54 at measure 64",
		"Those who have recorded already are heard softly", "guide-from-38.mp3", "Be still until 1:",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, no := range []string{"a hold", "made for you"} {
		if strings.Contains(page, no) {
			t.Errorf("the page says %q", no)
		}
	}
	if t.Failed() {
		t.Log(page)
	}
}

// A re-take that begins inside a ramp says how fast it is there and where the
// ramp leads: half way from 72 to 54 it is 63 (linear in the score).
func TestRetakeWithinARamp(t *testing.T) {
	s := retake(t, "en")
	spec, err := s.Guide.Piece.Excerpt(tempo.Span{From: 62, To: 72})
	if err != nil {
		t.Fatal(err)
	}
	s.Guide.Tempo, s.Guide.First = build(t, spec), 62
	if page := text(render(t, s)); !strings.Contains(page,
		"62 6/8 dotted quarter note = 63, slowing down to 54 at measure 64") {
		t.Error(page)
	}
}

func TestPlainAndOddPieces(t *testing.T) {
	m := build(t, tempo.Spec{Measures: 4, Changes: []tempo.Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 90}}})
	s := Sheet{Words: words(t, "en"), Title: "Short",
		Guide: Guide{File: "guide", Tempo: m, Piece: m, First: 1, PitchHz: 442, Tail: 2.5}}
	page := text(render(t, s))
	for _, want := range []string{
		"For everybody who plays", "There is no count-in", "The music begins with measure 1 at 0 s.",
		"Please tune to A = 442 Hz.",
		"stay still and silent for 2 seconds", "Ask whoever sent you this sheet where to send it",
		"your name and part, for example ilse-horn-2",
	} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, no := range []string{"clap", "Clap", "Due", "Notes", "Who plays", "drone"} {
		if strings.Contains(page, no) {
			t.Errorf("the page says %q in %s", no, page)
		}
	}
	// A pick-up of one quarter in 3/4 comes on beat 3 of the last count-in
	// measure: 4·3−1 quarters at 60, 11 s.
	m = build(t, tempo.Spec{CountIn: tempo.CountIn{Measures: 4}, PickUp: 1, Measures: 4,
		Changes: []tempo.Change{{Measure: 1, Meter: meter(t, "3/4"), BPM: 60}}})
	s.Guide.Tempo, s.Guide.Piece = m, m
	page = text(render(t, s))
	for _, want := range []string{"Music at 11 s pick-up to measure 1", "Clap at 6 s count-in measure 3, beat 1",
		"4 1 2 3 1 play 2 3"} {
		if !strings.Contains(page, want) {
			t.Errorf("with a pick-up, the page does not say %q", want)
		}
	}
	if t.Failed() {
		t.Log(page)
	}
}

// A count-in too long to draw is told in words only, and a table of many
// changes ends with a remark.
func TestLongPiecesStayShort(t *testing.T) {
	spec := tempo.Spec{CountIn: tempo.CountIn{Measures: 20}, Measures: 100,
		Changes: []tempo.Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 60}}}
	for i := 2; i < 40; i++ {
		spec.Changes = append(spec.Changes, tempo.Change{Measure: i, BPM: float64(60 + i)})
	}
	s := mine(t, "en")
	s.Guide.Tempo = build(t, spec)
	s.Guide.Piece = s.Guide.Tempo
	page := render(t, s)
	if strings.Contains(page, `role="img"`) {
		t.Error("80 beats are drawn")
	}
	if n := strings.Count(page, "quarter note = "); n != maxTempoRows ||
		!strings.Contains(page, "and more changes after these") {
		t.Errorf("%d rows", n)
	}
	if !strings.Contains(text(page), "Clap at 0:40") && !strings.Contains(text(page), "Clap at 40 s") {
		t.Error(text(page))
	}
	if !strings.Contains(text(page), "Music at 1:20") {
		t.Error(text(page))
	}
}

// Nothing from a manifest is ever markup, a style or a script.
func TestHostileTexts(t *testing.T) {
	evil := `</style><script>alert(1)</script><img src="http://evil.example/x" onerror=alert(1)>"'{due}`
	s := everybody(t, "en")
	s.Title, s.Composer, s.Ensemble, s.Due, s.SendTo, s.Contact, s.Notes = evil, evil, evil, evil, evil,
		"javascript:alert(1)", evil
	s.Roll = append(s.Roll, Player{evil, evil, evil, evil})
	plain := render(t, everybody(t, "en"))
	page := render(t, s)
	for _, tag := range []string{"<script", "<img", "<style", "</style", "onerror=alert(1)>\"", "href=\"javascript"} {
		if strings.Count(page, tag) != strings.Count(plain, tag) {
			t.Errorf("%q is in the page %d times", tag, strings.Count(page, tag))
		}
	}
	if !strings.Contains(text(page), "<script>alert(1)</script>") {
		t.Error("the text is not there as text")
	}
}

func TestLinks(t *testing.T) {
	for text, want := range map[string]string{
		"takes@example.org":                  "mailto:takes@example.org",
		"https://drop.example.org/round?x=1": "https://drop.example.org/round?x=1",
		"http://10.0.0.4/up":                 "http://10.0.0.4/up", "Mara Voss, mara@example.org": "",
		"javascript:alert(1)":        "",
		"https://":                   "",
		"https://a.example and more": "", "ftp://a.example/x": "", "": "", "a@b@c.example": "",
		"a@b.example?bcc=x@y.example": "",
	} {
		if got := link(text); got != want {
			t.Errorf("%q: %q, want %q", text, got, want)
		}
	}
}

func BenchmarkCallSheet(b *testing.B) {
	s := mine(b, "en")
	for b.Loop() {
		if err := CallSheet(&bytes.Buffer{}, s); err != nil {
			b.Fatal(err)
		}
	}
}
