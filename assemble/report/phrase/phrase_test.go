package phrase

import (
	"slices"
	"strings"
	"testing"
	"time"
	"unicode"
)

// Every language has every sentence, and none has a place that the English one
// does not have.
func TestLanguagesAreWhole(t *testing.T) {
	if got := strings.Join(Languages(), " "); got != "de en es fr it" {
		t.Fatalf("languages %q", got)
	}
	for _, l := range Languages() {
		words := texts().texts[l]
		for _, key := range Keys() {
			text := words[key]
			if strings.TrimSpace(text) == "" || strings.TrimSpace(text) != text {
				t.Errorf("%s: %s is %q", l, key, text)
			}
			if err := Check(key, text); err != nil {
				t.Errorf("%s: %v", l, err)
			}
			// What a sentence is about must be in every language.
			for _, p := range Places(key) {
				if !strings.Contains(text, p) {
					t.Errorf("%s: %s leaves %s out", l, key, p)
				}
			}
			if strings.ContainsAny(text, "<>&\n\t'\"") && !strings.HasPrefix(key, "say.") &&
				!strings.HasPrefix(key, "found.") &&
				!strings.HasPrefix(key, "ask.") || strings.ContainsAny(text, "<>&\n\t") {
				t.Errorf("%s: %s has markup or line ends: %q", l, key, text)
			}
		}
		for key := range words {
			if _, ok := texts().texts[Default][key]; !ok {
				t.Errorf("%s has %q, which English has not", l, key)
			}
		}
	}
}

// Sentences end with a full stop and labels do not, in all languages alike.
func TestSentencesAndLabels(t *testing.T) {
	stop := func(s string) bool { return strings.HasSuffix(s, ".") }
	for _, key := range Keys() {
		if key == "decimal" || key == "date-plain" {
			continue
		}
		for _, l := range Languages() {
			if stop(texts().texts[l][key]) != stop(texts().texts[Default][key]) {
				t.Errorf("%s: %s ends otherwise than in English: %q", l, key, texts().texts[l][key])
			}
		}
	}
}

func TestCheck(t *testing.T) {
	for _, c := range []struct{ key, text, want string }{
		{"step-hold", "Sit still for {tail} seconds.", ""},
		{"step-hold", "Sit still.", ""},
		{"step-hold", "Sit still for {tails} seconds.", "unknown placeholder {tails} in step-hold, which has {tail}"},
		{"light", "Use {lamp}.", "unknown placeholder {lamp} in light"},
		{"light", "A {} and a {Lamp} and { x } are text.", ""},
		{"lights", "x", `unknown sentence "lights"`},
	} {
		err := Check(c.key, c.text)
		if (err == nil) != (c.want == "") || err != nil && err.Error() != c.want {
			t.Errorf("%s %q: %v, want %q", c.key, c.text, err, c.want)
		}
	}
	if Places("nothing") != nil {
		t.Error("places of no key")
	}
}

func open(t *testing.T, language string, own map[string]string) *Book {
	t.Helper()
	b, err := Open(language, own)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func TestOpen(t *testing.T) {
	if b := open(t, "", nil); b.Language != "en" || b.Say("clap") != "clap" {
		t.Errorf("%+v", b)
	}
	if _, err := Open("xx", nil); err == nil || err.Error() != `unknown language "xx"; known are de, en, es, fr, it` {
		t.Error(err)
	}
	if _, err := Open("it", map[string]string{"claps": "x"}); err == nil {
		t.Error("an unknown key is taken")
	}
	b := open(t, "de", map[string]string{"clap": "patsch"})
	if b.Say("clap") != "patsch" || b.Say("play") != "spielen" {
		t.Error("replacing a sentence")
	}
}

// Values are put in as they are, whatever they look like.
func TestSayDoesNotLookIntoValues(t *testing.T) {
	b := open(t, "en", nil)
	got := b.Say("send-by", "to", "{due} <b>", "due", "{to}")
	if got != "Send it to {due} <b>, by {to}." {
		t.Errorf("%q", got)
	}
	if got := b.Say("no such thing", "a", "b"); got != "no such thing" {
		t.Errorf("%q", got)
	}
	if got := b.Count("count-in", 1, "meter", "4/4", "beats", "4"); !strings.Contains(got,
		"one measure of 4/4, 4 beats") {
		t.Errorf("%q", got)
	}
	if got := b.Count("count-in", 8, "measures", "8", "meter", "4/4", "beats", "4"); !strings.Contains(got,
		"8 measures of 4/4, 4 beats each") {
		t.Errorf("%q", got)
	}
}

func TestNumbersAndDates(t *testing.T) {
	en, de := open(t, "en", nil), open(t, "de", nil)
	for _, c := range []struct {
		x        float64
		decimals int
		en, de   string
	}{
		{5.4545, 2, "5.45", "5,45"}, {8, 2, "8", "8"}, {10.0, 0, "10", "10"}, {440, 1, "440", "440"},
		{-1.5, 1, "−1.5", "−1,5"}, {-0.0001, 1, "0", "0"}, {1200, 1, "1200", "1200"}, {0.25, 1, "0.2", "0,2"},
	} {
		if g, h := en.Number(c.x, c.decimals), de.Number(c.x, c.decimals); g != c.en || h != c.de {
			t.Errorf("%v: %q %q, want %q %q", c.x, g, h, c.en, c.de)
		}
	}
	for s, want := range map[float64]string{0: "0:00", 59.4: "0:59", 59.6: "1:00", 125: "2:05", 3601: "60:01"} {
		if got := en.Clock(s); got != want {
			t.Errorf("%v: %q, want %q", s, got, want)
		}
	}
	// 12 June 2031 is a Thursday and 1 January 2034 a Sunday (calendar).
	day := time.Date(2031, 6, 12, 0, 0, 0, 0, time.UTC)
	for l, want := range map[string]string{"en": "Thursday, 12 June 2031, 20:00",
		"de": "Donnerstag, 12. Juni 2031, 20:00 Uhr", "it": "giovedì 12 giugno 2031, ore 20:00",
		"fr": "jeudi 12 juin 2031 à 20\u00a0h\u00a000", "es": "jueves, 12 de junio de 2031, a las 20:00"} {
		if got := open(t, l, nil).Date(day, "20:00"); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	// The first of a month is counted in French and Italian.
	for l, want := range map[string]string{"en": "1 June 2031", "de": "1. Juni 2031", "it": "1º giugno 2031",
		"fr": "1er juin 2031", "es": "1 de junio de 2031"} {
		if got := open(t, l, nil).Day(day.AddDate(0, 0, -11)); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	if got := en.Date(time.Date(2034, 1, 1, 0, 0, 0, 0, time.UTC), ""); got != "Sunday, 1 January 2034" {
		t.Errorf("%q", got)
	}
}

func TestUnitsAndNotes(t *testing.T) {
	en, de, it := open(t, "en", nil), open(t, "de", nil), open(t, "it", nil)
	for _, c := range [][2]string{
		{en.Unit("dotted-quarter"), "dotted quarter note"}, {en.Unit("double-dotted-half"), "double-dotted half note"},
		{de.Unit("half"), "Halbe"}, {it.Unit("dotted-quarter"), "semiminima puntata"}, {en.Unit("5/16"), "5/16"},
		{en.Note("Bb3"), "B♭3"}, {de.Note("Bb3"), "B3"}, {de.Note("B2"), "H2"}, {de.Note("F#2"), "Fis2"},
		{it.Note("D3"), "Re3"},
		{en.Note("C-1"), "C-1"}, {en.Note("H3"), "H3"},
	} {
		if c[0] != c[1] {
			t.Errorf("%q, want %q", c[0], c[1])
		}
	}
}

// Keys are typed in a manifest: small letters, digits and dashes, apart from
// note names.
func TestKeysCanBeTyped(t *testing.T) {
	for _, k := range SheetKeys() {
		if strings.HasPrefix(k, "note-") {
			continue
		}
		if strings.ContainsFunc(k, func(r rune) bool {
			return r != '-' && !unicode.IsLower(r) &&
				!unicode.IsDigit(r)
		}) {
			t.Errorf("key %q", k)
		}
	}
	if !slices.IsSorted(Keys()) {
		t.Error("keys are not sorted")
	}
}

// A line below a key is a language of two letters and a text, each behind white space.
func TestCutLine(t *testing.T) {
	for _, c := range []struct {
		line, language, text string
		ok                   bool
	}{
		{"  en The lamps", "en", "The lamps", true},
		{"\tde\t Die Lampen", "de", "Die Lampen", true},
		{"en The lamps", "", "", false},
		{"  en", "en", "", false},
		{"  english", "en", "glish", false},
		{"  En The lamps", "", "", false},
		{"  e", "", "", false},
		{"key", "", "", false},
		{"", "", "", false},
	} {
		language, text, ok := cutLine(c.line)
		if ok != c.ok || ok && (language != c.language || text != c.text) {
			t.Errorf("%q: %q, %q, %v", c.line, language, text, ok)
		}
	}
}
