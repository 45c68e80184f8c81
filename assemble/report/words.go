package report

import (
	"html/template"
	"strings"

	"ripieno/assemble/report/phrase"
)

// words returns the sentences of the page.
func (r Review) words() *phrase.Book {
	if r.Words == nil {
		return phrase.Of(phrase.Default)
	}
	return r.Words
}

// wordsFor returns the sentences of the note to the player of a take.
func (r Review) wordsFor(t Reviewed) *phrase.Book {
	if t.Words == nil {
		return r.words()
	}
	return t.Words
}

// due returns the last day for takes in the language of a book, "" for none.
func (r Review) due(w *phrase.Book) string {
	if r.DueDay.IsZero() {
		return r.Due
	}
	return w.Date(r.DueDay, r.DueClock)
}

// Lang returns the language of the page, for its lang attribute.
func (v reviewView) Lang() string { return v.words().Language }

// Say returns a sentence of the page.
func (v reviewView) Say(key string, pairs ...string) string { return v.words().Say(key, pairs...) }

// Rich returns a sentence of the page some of whose places hold markup of ours.
// Everything else in it is escaped.
func (v reviewView) Rich(key string, pairs ...any) template.HTML {
	var fill []string
	for i := 0; i+1 < len(pairs); i += 2 {
		name, _ := pairs[i].(string)
		value, ours := pairs[i+1].(template.HTML)
		if !ours {
			text, _ := pairs[i+1].(string)
			value = template.HTML(template.HTMLEscapeString(text))
		}
		fill = append(fill, "{"+name+"}", string(value))
	}
	return template.HTML(strings.NewReplacer(fill...).Replace(template.HTMLEscapeString(v.Say(key))))
}

// Code returns words to type, marked as such.
func (v reviewView) Code(text string) template.HTML {
	return template.HTML("<code>" + template.HTMLEscapeString(text) + "</code>")
}

// Badge returns the mark of a level, or with "review" that of an open question.
func (v reviewView) Badge(level string) template.HTML {
	word := "report." + level
	if level == "review" {
		word = "report.needs-review"
	}
	return template.HTML(`<b class="badge ` + template.HTMLEscapeString(level) + `">` +
		template.HTMLEscapeString(v.Say(word)) + "</b>")
}

// Link returns a link to a take on this page.
func (v reviewView) Link(take string) template.HTML {
	take = template.HTMLEscapeString(take)
	return template.HTML(`<a href="#take-` + take + `">` + take + "</a>")
}
