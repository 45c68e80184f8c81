package phrase

import (
	"strings"
	"testing"
)

// A sentence about one thing stands beside every sentence about many, and each
// language has both.
func TestSingles(t *testing.T) {
	n := 0
	for _, key := range Keys() {
		many, single := strings.CutSuffix(key, "-one")
		if !single {
			continue
		}
		n++
		if _, ok := texts().texts[Default][many]; !ok {
			t.Errorf("%s stands alone", key)
		}
		for _, p := range Places(key) {
			if !strings.Contains(strings.Join(Places(many), " "), p) {
				t.Errorf("%s has %s, which %s has not", key, p, many)
			}
		}
	}
	if n < 6 {
		t.Errorf("only %d sentences about single things", n)
	}
}

func TestParseTable(t *testing.T) {
	good := "# words\n\nkey\n  en  A {b}.\n  fr  Un {b} ; deux « trois » !\n"
	parsed, err := parseTable(good)
	if err != nil || parsed.texts["fr"]["key"] != "Un {b}\u202f; deux «\u00a0trois\u00a0»\u202f!" ||
		len(parsed.order) != 1 {
		t.Errorf("%v %q", err, parsed.texts)
	}
	for text, want := range map[string]string{
		"key\n  en  A\nkey\n  en  B\n": "line 3: key is there twice",
		"key\n  en  A\n  en  B\n":      "line 3: key has en twice",
		"  en  A\n":                    "line 1: a text without a key",
		"a key\n":                      `line 1: neither a key nor a language and its text: "a key"`,
	} {
		if _, err := parseTable(text); err == nil || err.Error() != want {
			t.Errorf("%q: %v, want %s", text, err, want)
		}
	}
}

func TestMessages(t *testing.T) {
	m := New("found.duplicate", "file", Quoted("a {take}"), "take", Quoted("horn"))
	if got := m.Plain(); got != `the same content as "a {take}" of "horn"` {
		t.Errorf("%q", got)
	}
	for l, want := range map[string]string{
		"de": "derselbe Inhalt wie „a {take}“ von " +
			"„horn“", "fr": "le même contenu que «\u00a0a {take}\u00a0» de «\u00a0horn\u00a0»",
	} {
		if got := open(t, l, nil).Write(m); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
	soft := New("found.soft", "level", Figure("-50.2"))
	if got := soft.Plain(); got != "soft: -50.2 LUFS" {
		t.Errorf("%q", got)
	}
	if got := open(t, "es", nil).Write(soft); got != "floja: −50,2\u00a0LUFS" {
		t.Errorf("%q", got)
	}
	damage := New("found.sound-damaged", "count", "1").One(1)
	nested := New("found.sound-gaps", "damage", damage, "seconds", Figure("0.4"))
	if got := open(t, "it", nil).Write(nested); got != "un punto dell’audio non si decodifica, e l’audio ha vuoti "+
		"di 0,4\u00a0s" {
		t.Errorf("%q", got)
	}
}

// What the program says in English elsewhere is found again, with all that is
// filled in.
func TestTranslate(t *testing.T) {
	de, en := open(t, "de", nil), open(t, "en", nil)
	for text, want := range map[string]string{
		"the notes begin where the score " +
			"has them": "die Töne beginnen, wo sie in der Partitur stehen",
		"cue at 11.482 s, 34 dB above the sound before it, number 1 of the file's " +
			"candidates": "Klatschen bei 11,482\u00a0s, 34\u00a0dB über dem Klang davor, Nummer 1 unter den " +
			"Kandidaten der Datei",
		"clap at 12.34 s (88 %) or 9.94 " +
			"s (11 %)": "Klatschen bei 12,34\u00a0s (88\u00a0%) oder 9,94\u00a0s (11\u00a0%)",
		"sure in an earlier run and kept so; by what is heard now clap at 12.34 s (96 %) or 9.94 " +
			"s (4 %)": "in einem früheren Lauf sicher und so belassen; nach allem, was jetzt zu hören ist, " +
			"Klatschen bei 12,34\u00a0s (96\u00a0%) oder 9,94\u00a0s (4\u00a0%)",
		"clap at 12.34 s (88 %) or first note at 9.94 s (<1 %), but only within " +
			"about 60 ms": "Klatschen bei 12,34\u00a0s (88\u00a0%) oder erster Ton bei 9,94\u00a0s (<1\u00a0%), " +
			"aber nur auf etwa 60\u00a0ms",
		"same sound as intake/this or that.mov in 7 of 9 stretches, within 0.21 ms, clocks differ by " +
			"-31.2 ppm": "derselbe Klang wie intake/this oder that.mov in 7 von 9 Abschnitten, auf 0,21\u00a0ms, " +
			"die Uhren weichen −31,2\u00a0ppm voneinander ab",
		"an older guide.wav was made with 88 bpm, a count-in of 8 measures; production.yaml now says 92 bpm, no " +
			"count-in": "eine ältere Fassung von guide.wav wurde gemacht mit: 88 bpm, ein Vorzähler von 8 Takten; " +
			"in production.yaml steht jetzt: 92 bpm, kein Vorzähler",
		"something new at -3 dB": "something new at −3 dB",
	} {
		if got := de.Translate(text); got != want {
			t.Errorf("%q\n got %q\nwant %q", text, got, want)
		}
	}
	if got := en.Translate("clap at 9.94 s (11 %)"); got != "clap at 9.94 s (11 %)" {
		t.Errorf("%q", got)
	}
}
