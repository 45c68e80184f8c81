package cli

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// actsOn reports whether a terminal would act upon a character instead of
// showing it: controls, and those that change the order of the text round them
// (Unicode Standard Annex 9, table 4), with which a name can hide another. It is
// asked of everything that is printed, also of file names in errors.
func actsOn(r rune) bool {
	switch {
	case r == 0x061C, r == 0x200E, r == 0x200F, r >= 0x202A && r <= 0x202E, r >= 0x2066 && r <= 0x2069:
		return true
	case r == 0x2028, r == 0x2029: // they end a line in some
		return true
	}
	return unicode.IsControl(r)
}

// escapeText returns a text as it may go to a terminal: names come from files of
// strangers. What a terminal would act upon is spelled, as \x1b or \u202e, and so
// are bytes that are no text. Line ends and tabs stay.
func escapeText(text string) string {
	spell := func(r rune) bool { return actsOn(r) && r != '\n' && r != '\t' }
	if utf8.ValidString(text) && !strings.ContainsFunc(text, spell) {
		return text
	}
	var b strings.Builder
	for i, r := range text {
		switch n := utf8.RuneLen(r); {
		// A byte that is no UTF-8 reads as the same character as a written U+FFFD.
		case r == utf8.RuneError && !strings.HasPrefix(text[i:], "\uFFFD"):
			fmt.Fprintf(&b, `\x%02x`, text[i])
		case !spell(r):
			b.WriteRune(r)
		case n == 1:
			fmt.Fprintf(&b, `\x%02x`, r)
		default:
			fmt.Fprintf(&b, `\u%04x`, r)
		}
	}
	return b.String()
}

// escapeLine returns a text that has to stay on its line.
func escapeLine(text string) string { return escapeText(strings.ReplaceAll(text, "\n", `\n`)) }

// escapeJSON returns JSON with the same characters spelled, which says the same:
// they only stand in its strings. Line breaks between the fields stay. Characters
// past U+FFFF are none of those.
func escapeJSON(data []byte) []byte {
	text := string(data)
	if !strings.ContainsFunc(text, func(r rune) bool { return actsOn(r) && r != '\n' }) {
		return data
	}
	var b strings.Builder
	for _, r := range text {
		if actsOn(r) && r != '\n' {
			fmt.Fprintf(&b, `\u%04x`, r)
		} else {
			b.WriteRune(r)
		}
	}
	return []byte(b.String())
}

// output is standard output that remembers whether it could be written. Errors of
// printing are asked for once, at the end, instead of at each of some hundred lines.
type output struct {
	io.Writer
	err error
}

// Write implements [io.Writer].
func (o *output) Write(p []byte) (int, error) {
	n, err := o.Writer.Write(p)
	if err != nil && o.err == nil {
		o.err = err
	}
	return n, err
}
