package manifest

import (
	"fmt"
	"regexp"
	"strings"
	"time"

	"ripieno/assemble/report/phrase"
)

// maxNotes is the most characters in the notes; they share a page or two.
const maxNotes = 4000

// callSheet reads the section callsheet of a production in a language.
func (m mapping) callSheet(language string) CallSheet {
	s := CallSheet{Language: language}
	c, ok := m.child("callsheet", callSheetShape)
	if !ok {
		return s
	}
	s.Language = c.choice("language", s.Language)
	c.due(&s)
	s.SendTo = c.text("send_to", "takes@example.org")
	s.Contact = c.text("contact", "Mara Voss, mara@example.org")
	s.Notes = c.textUpTo("notes", "Players of wind instruments breathe where the part says.", maxNotes, true)
	if w, ok := c.child("strings", stringsShape); ok {
		s.Strings = w.sentences()
	}
	return s
}

// dateForm is what looks like a date of ISO 8601, with a time of day or not.
var dateForm = regexp.MustCompile(`^[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}(?:[ T]([0-9]{1,2}:[0-9]{2}))?$`)

// due reads a date, which is then written out in the players' language, or any
// words.
func (m mapping) due(s *CallSheet) {
	s.Due = m.text("due", "2031-06-12 20:00")
	parts := dateForm.FindStringSubmatch(s.Due)
	if parts == nil {
		return
	}
	form := "2006-01-02"
	text := s.Due
	if parts[1] != "" {
		form += " 15:04"
		text = strings.Replace(text, "T", " ", 1)
	}
	at, err := time.Parse(form, text)
	if err != nil {
		m.at(m.vals["due"], "year, month and day with two digits each, such as 2031-06-12 or 2031-06-12 20:00",
			"due %q is not a day of the calendar", clip(s.Due))
		return
	}
	s.DueDay, s.DueClock = at.Truncate(24*time.Hour), parts[1]
}

// sentences reads what replaces the built-in sentences.
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
