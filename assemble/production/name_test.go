package production

import (
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

// A name that a text gives has letters, numbers and single dashes, begins and ends
// with none, and is called like no device of Windows.
func TestSlugs(t *testing.T) {
	for text, want := range map[string]string{
		"":                        "",
		"---":                     "",
		"!?* ...":                 "",
		"Oboe 1":                  "oboe-1",
		"  Oboe  /  1  ":          "oboe-1",
		"Violin I (divisi)":       "violin-i-divisi",
		"Mara's Horn":             "mara-s-horn",
		"already-a-name":          "already-a-name",
		"Jörg Åse":                "jörg-åse",
		"第一 バイオリン":                "第一-バイオリン",
		"e\u0301tude":             "etude", // a mark by itself is dropped, and parts no word
		"Ⅻ":                       "ⅻ",
		"½ size":                  "½-size",
		"con":                     "con-1",
		"CON":                     "con-1",
		"aux.wav":                 "aux-wav",
		"COM1":                    "com1-1",
		"LPT²":                    "lpt²-1",
		"com":                     "com",
		"\x00\n\t":                "",
		"a\x00b":                  "a-b",
		strings.Repeat("a", 70):   strings.Repeat("a", 64),
		strings.Repeat("a-", 40):  strings.TrimSuffix(strings.Repeat("a-", 32), "-"),
		strings.Repeat("楽", 70):   strings.Repeat("楽", 64), // 3 bytes each: 192 fit
		strings.Repeat("𐌀", 70):   strings.Repeat("𐌀", 48), // 4 bytes each
		strings.Repeat("𐌀-", 70):  strings.TrimSuffix(strings.Repeat("𐌀-", 32), "-"),
		"\xff\xfe":                "",
		"no\u00a0break":           "no-break",
		"dash\u2013ed \u2014 two": "dash-ed-two",
	} {
		if got := Slug(text); got != want {
			t.Errorf("%q gives %q, want %q", text, got, want)
		}
	}
}

// FuzzSlug looks for a text whose name could not be a file's on some system, or
// that names something else when it is made a name once more.
func FuzzSlug(f *testing.F) {
	for _, seed := range []string{"", "Oboe 1", "NUL.txt", "con", "\u0301", "İ", "ß", "ǅ", "\xf0\x9f", "--a--", "lpt¹",
		strings.Repeat("ﬁ", 90), strings.Repeat("𝄞a", 60)} {
		f.Add(seed)
	}
	f.Fuzz(func(t *testing.T, text string) {
		name := Slug(text)
		if n := utf8.RuneCountInString(name); n > MaxName+2 || len(name) > MaxNameBytes+2 || !utf8.ValidString(name) {
			t.Errorf("%q gives %q: %d characters, %d bytes", text, name, n, len(name))
		}
		if IsReserved(name) || strings.HasPrefix(name, "-") || strings.HasSuffix(name, "-") ||
			strings.Contains(name, "--") {
			t.Errorf("%q gives %q", text, name)
		}
		for _, r := range name {
			if r != '-' && !unicode.IsLetter(r) && !unicode.IsNumber(r) {
				t.Errorf("%q gives %q with %q", text, name, r)
			}
		}
		if again := Slug(name); again != name {
			t.Errorf("%q gives %q, which gives %q", text, name, again)
		}
	})
}

// The names are those that Microsoft lists ("Naming Files, Paths, and Namespaces"),
// superscripts included, with any ending and in any capitals; longer names that
// begin alike are ordinary.
func TestReservedNames(t *testing.T) {
	for _, name := range []string{"CON", "con", "PRN", "AUX", "NUL", "nul.txt", "NUL.tar.gz", "COM1", "com9.log",
		"COM0", "LPT1", "lpt9", "COM¹", "com²", "LPT³.x", "Aux."} {
		if !IsReserved(name) {
			t.Errorf("%q is taken", name)
		}
	}
	for _, name := range []string{"", "CONSOLE", "con-1", "console.log", "COM", "COM10", "LPT", "LPTA", "aux1", "xcon",
		" con", "con ", "n.ul", "oboe-1"} {
		if IsReserved(name) {
			t.Errorf("%q is refused", name)
		}
	}
}

// Names are the same without regard to capitals, also where one letter has two small
// forms; different letters stay different.
func TestFold(t *testing.T) {
	for _, pair := range [][2]string{{"Oboe", "oBOE"}, {"Σ", "ς"}, {"σ", "ς"}, {"ÅSE", "åse"}, {"Ǆ", "ǆ"}, {"ǅ", "ǆ"},
		{"\u212a", "k"}, {"", ""}} { // U+212A is the sign for kelvin
		if Fold(pair[0]) != Fold(pair[1]) {
			t.Errorf("%q and %q are not the same", pair[0], pair[1])
		}
	}
	for _, pair := range [][2]string{{"oboe", "oboe "}, {"a", "á"}, {"o", "0"}, {"ae", "æ"}} {
		if Fold(pair[0]) == Fold(pair[1]) {
			t.Errorf("%q and %q are the same", pair[0], pair[1])
		}
	}
}
