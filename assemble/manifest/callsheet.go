package manifest

import (
	"fmt"
	"strings"

	"ripieno/assemble/production"
	"ripieno/assemble/report/phrase"
)

// maxNotes is the most characters in the notes; they share a page or two.
const maxNotes = 4000

// callSheet reads the section callsheet of a production in a language.
func (m mapping) callSheet(language string) production.CallSheet {
	s := production.CallSheet{Language: language}
	c, ok := m.child("callsheet", callSheetShape)
	if !ok {
		return s
	}
	s.Language = c.choice("language", s.Language)
	// A date is written out in the players' language.
	s.Due, s.DueDay, s.DueClock = c.day("due", "2031-06-12 20:00")
	s.SendTo = c.text("send_to", "takes@example.org")
	s.Contact = c.text("contact", "Mara Voss, mara@example.org")
	s.Notes = c.textUpTo("notes", "Players of wind instruments breathe where the part says.", maxNotes, true)
	if w, ok := c.child("strings", stringsShape); ok {
		s.Strings = w.sentences()
	}
	return s
}

// sentences reads what replaces the built-in sentences. A text with a placeholder
// that the sentence does not have would be printed with its braces to every player,
// so it is a fault.
func (m mapping) sentences() map[string]string {
	own := map[string]string{}
	for _, key := range m.shape.names() {
		if !m.has(key) {
			continue
		}
		text := m.textUpTo(key, "any text", maxCard, false)
		if err := phrase.Check(key, text); text != "" && err != nil {
			hint := "write it without braces"
			if known := phrase.Places(key); len(known) > 0 {
				hint = fmt.Sprintf("in braces there can be %s", strings.Join(known, " "))
			}
			m.at(m.vals[key], hint, "%v", err)
			continue
		}
		own[key] = text
	}
	return own
}
