package phrase

import (
	"regexp"
	"strings"
)

var (
	// An apostrophe stands after a letter: in a word or at its end. One before a word
	// may as well be a quotation mark, and stays.
	apostrophe = regexp.MustCompile(`(\pL)'`)
	// Quotation marks are those of a pair.
	straightPair = regexp.MustCompile(`"([^"]+)"`)
	// A hyphen between spaces is meant as a dash.
	spacedHyphen = regexp.MustCompile(`(\S) - (\S)`)
)

// Typeset returns a text of a person, as films and pages show it: with the apostrophes,
// quotation marks, dashes and ellipses of print in the place of those that a
// keyboard has.
func (b *Book) Typeset(text string) string {
	if strings.Count(text, `"`)%2 == 0 {
		text = straightPair.ReplaceAllStringFunc(text, func(s string) string { return b.Quote(s[1 : len(s)-1]) })
	}
	text = curl(text)
	text = spacedHyphen.ReplaceAllString(text, "${1} – ${2}")
	return strings.ReplaceAll(text, "...", "…")
}

// curl returns a text with the apostrophes of print.
func curl(text string) string {
	if !strings.Contains(text, "'") {
		return text
	}
	return apostrophe.ReplaceAllString(text, "${1}’")
}
