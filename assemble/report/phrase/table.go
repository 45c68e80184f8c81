package phrase

import (
	_ "embed"
	"fmt"
	"regexp"
	"strings"
	"sync"
)

//go:embed words.txt
var source string

// table is all sentences: the languages of a key, and the keys in the order in
// which they stand.
type table struct {
	texts map[string]map[string]string // by language, then by key
	order []string
}

// texts is the table of the program. It is part of it, and a test reads it, so it
// cannot fail to load.
var texts = sync.OnceValue(func() table {
	t, err := parseTable(source)
	if err != nil {
		panic("phrase: words.txt: " + err.Error()) // a slip of ours
	}
	return t
})

// cutLine returns the language and the text of a line below a key, and whether it is
// one. The program reads the whole table at every start, which with an expression took
// five milliseconds.
func cutLine(line string) (language, text string, ok bool) {
	rest := strings.TrimLeft(line, " \t")
	if len(rest) == len(line) || len(rest) < 2 || !isLower(rest[0]) || !isLower(rest[1]) {
		return "", "", false
	}
	text = strings.TrimLeft(rest[2:], " \t")
	return rest[:2], text, text != "" && len(text) < len(rest)-2
}

// isLower reports whether a byte is a small letter of English.
func isLower(c byte) bool { return 'a' <= c && c <= 'z' }

// parseTable reads the file that a translator edits: a key at the margin, below it
// a line for each language, comments behind #. It fails at a line of another form
// and at what is there twice.
func parseTable(text string) (table, error) {
	t := table{texts: map[string]map[string]string{}}
	key, seen := "", map[string]bool{}
	for i, line := range strings.Split(text, "\n") {
		line = strings.TrimRight(line, " \r")
		language, words, below := cutLine(line)
		switch {
		case line == "" || strings.HasPrefix(line, "#"):
		case !below && strings.ContainsAny(line, " \t"):
			return t, fmt.Errorf("line %d: neither a key nor a language and its text: %q", i+1, line)
		case !below:
			if seen[line] {
				return t, fmt.Errorf("line %d: %s is there twice", i+1, line)
			}
			key, seen[line] = line, true
			t.order = append(t.order, key)
		case key == "":
			return t, fmt.Errorf("line %d: a text without a key", i+1)
		default:
			if t.texts[language] == nil {
				t.texts[language] = map[string]string{}
			}
			if _, twice := t.texts[language][key]; twice {
				return t, fmt.Errorf("line %d: %s has %s twice", i+1, key, language)
			}
			t.texts[language][key] = tidy(language, words)
		}
	}
	return t, nil
}

// A space of French typography at which no line may break: U+202F before ; ! ?
// and U+00A0 before a colon and within quotation marks (Lexique des règles
// typographiques en usage à l'Imprimerie nationale; from memory).
var frenchSpaces = strings.NewReplacer(
	" ;", "\u202f;", " !", "\u202f!", " ?", "\u202f?", " :", "\u00a0:", "« ", "«\u00a0", " »", "\u00a0»")

// tidy sets the spaces of a text as its language has them: in no language does a
// line break between a number and per cent or a unit.
func tidy(language, text string) string {
	if language == "fr" {
		text = frenchSpaces.Replace(text)
	}
	if !strings.Contains(text, "} ") {
		return text
	}
	return units.ReplaceAllString(text, "}\u00a0$1")
}

// units are what follows a number after a space.
var units = regexp.MustCompile(`\} (%|(?:s|ms|Hz|kHz|dB|dBFS|LUFS|ppm|cents?|Cent)\b)`)
