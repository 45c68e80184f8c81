package manifest

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"ripieno/assemble/production"
)

// occasion reads what stands on the title card and in the credits besides title
// and ensemble.
func (m mapping) occasion(p *production.Production) {
	p.Arranger = m.text("arranger", "Mara Voss")
	p.Lyricist = m.text("lyricist", "Mara Voss")
	p.Conductor = m.text("conductor", "Mara Voss")
	p.Occasion = m.text("occasion", "Summer concert")
	p.Date, p.Day, _ = m.day("date", "2031-06-12")
	if path := m.path("logo", "art/logo.png"); path != "" {
		if pictureForm().MatchString(path) {
			p.Logo = &production.Asset{Path: path, Mark: markOf(m.file, m.vals["logo"])}
		} else {
			m.at(m.vals["logo"], "a picture file: .png or .jpg", "logo %q is not a picture", clip(path))
		}
	}
	for _, e := range m.entries("credits", creditShape) {
		c := production.Credit{Mark: markOf(m.file, e.node)}
		if e.need("role", "for example "+creditShape.example) {
			c.Role = e.role()
		}
		if e.need("name", "for example "+creditShape.example) {
			c.Name = e.textUpTo("name", "Mara Voss", maxCard, false)
		}
		p.Credits = append(p.Credits, c)
	}
}

// role reads who somebody is in the credits: a role that films name in their
// language, or any words. A slip of one of those is a fault, since it would stay in
// English. Only a word in small letters is taken for a slip: "Sound" with a capital
// is found among the roles all the same, and "Sond" may be somebody's name for it.
func (m mapping) role() string {
	text := m.text("role", "sound")
	lower := strings.ToLower(text)
	if slices.Contains(production.CreditRoles, lower) {
		return lower
	}
	if near := m.nearest(lower, production.CreditRoles); near != "" && text == lower {
		m.at(m.vals["role"], "did you mean "+near+"? Words of your own begin with a capital letter", "unknown role %q",
			clip(text))
	}
	return text
}

// dateForm is what looks like a date of ISO 8601, with a time of day or not.
var dateForm = pattern(`^[0-9]{4}-[0-9]{1,2}-[0-9]{1,2}(?:[ T]([0-9]{1,2}:[0-9]{2}))?$`)

// continentalForm is a day as much of Europe writes it, 12.6.2031. With slashes it
// would be another day in America, so that it stays words.
var continentalForm = pattern(`^([0-9]{1,2})\. ?([0-9]{1,2})\. ?([0-9]{4})( [0-9]{2}:[0-9]{2})?$`)

// day reads a day of the calendar, with a time of day or not, or any words. It
// returns the text as written, and a zero time for words. day has no time zone: it is
// a date that is printed and never compared with a clock. clock is the time of day as
// written, "" without.
func (m mapping) day(key, example string) (text string, day time.Time, clock string) {
	text = m.text(key, example)
	if p := continentalForm().FindStringSubmatch(text); p != nil {
		text = fmt.Sprintf("%s-%02s-%02s%s", p[3], p[2], p[1], p[4])
	}
	parts := dateForm().FindStringSubmatch(text)
	if parts == nil {
		return text, time.Time{}, ""
	}
	form, plain := "2006-01-02", text
	if parts[1] != "" {
		form += " 15:04"
		plain = strings.Replace(text, "T", " ", 1)
	}
	at, err := time.Parse(form, plain)
	if err != nil {
		m.at(m.vals[key], "year, month and day with two digits each, such as 2031-06-12 or 2031-06-12 20:00",
			"%s %q is not a day of the calendar", key, clip(text))
		return text, time.Time{}, ""
	}
	return text, at.Truncate(24 * time.Hour), parts[1]
}
