package phrase

import (
	"regexp"
	"strconv"
	"strings"
	"sync"
)

// Message is a sentence that is not in a language yet: its key, and what is filled
// in. It is made where something is found out, and written where it is read.
type Message struct {
	Key  string
	Fill []Fill
}

// Fill is a value for a place of a sentence. Its value is a string, which is put in
// as it is, a [Figure], a [Quoted], a [Foreign] or another [Message].
type Fill struct {
	Name  string // without braces
	Value any
}

// Figure is a number as Go prints it, such as "-50.2", which every language writes
// in its own way.
type Figure string

// Quoted is a name in quotation marks.
type Quoted string

// Foreign is a sentence in English that was made elsewhere in the program.
type Foreign string

// New returns a message: pairs are names without braces, each with its value.
func New(key string, pairs ...any) Message {
	m := Message{Key: key}
	for i := 0; i+1 < len(pairs); i += 2 {
		name, _ := pairs[i].(string)
		m.Fill = append(m.Fill, Fill{name, pairs[i+1]})
	}
	return m
}

// One returns the message for a number of things: that of a single one has a key
// of its own, which ends in -one.
func (m Message) One(n int) Message {
	if n == 1 {
		m.Key += "-one"
	}
	return m
}

// Plain returns the message as the command line prints it: in English, with
// numbers as programs read them.
func (m Message) Plain() string {
	text := strings.ReplaceAll(texts().texts[Default][m.Key], "\u00a0", " ")
	return fill(text, m, func(v any) string {
		switch v := v.(type) {
		case Quoted:
			return strconv.Quote(string(v))
		case Message:
			return v.Plain()
		case Figure:
			return string(v)
		case Foreign:
			return string(v)
		}
		text, _ := v.(string)
		return text
	})
}

// Write returns a message in the language of the book.
func (b *Book) Write(m Message) string {
	return fill(b.Say(m.Key), m, func(v any) string {
		switch v := v.(type) {
		case Quoted:
			return b.Quote(string(v))
		case Message:
			return b.Write(v)
		case Figure:
			return b.Figure(string(v))
		case Foreign:
			return b.Translate(string(v))
		}
		text, _ := v.(string)
		return text
	})
}

// fill puts the values of a message into a text. Values are never looked into.
func fill(text string, m Message, write func(any) string) string {
	if len(m.Fill) == 0 {
		return text
	}
	var pairs []string
	for _, f := range m.Fill {
		pairs = append(pairs, "{"+f.Name+"}", write(f.Value))
	}
	return strings.NewReplacer(pairs...).Replace(text)
}

// Figure returns a printed number, such as "-50.2" or "+3.0", as the language writes it.
func (b *Book) Figure(text string) string {
	text = strings.Replace(text, "-", "−", 1)
	return strings.Replace(text, ".", b.Say("decimal"), 1)
}

// The sentences that other parts of the program print in English, whose packages
// know no languages. They stand in the table under say., where their English is
// that of the program.
const foreignPrefix = "say."

// pattern finds a sentence that the program prints in English by its form, so that it can be
// said in another language: what differs from time to time is in names.
type pattern struct {
	key   string
	form  *regexp.Regexp
	names []string
}

// patterns are all of them, in the order of the table: of two that fit, the first
// counts.
var patterns = sync.OnceValue(func() (list []pattern) {
	for _, key := range texts().order {
		if !strings.HasPrefix(key, foreignPrefix) {
			continue
		}
		text := texts().texts[Default][key]
		form := place.ReplaceAllString(regexp.QuoteMeta(strings.ReplaceAll(text, "\u00a0", " ")), "(.+?)")
		form = quotedPlace.ReplaceAllString(form, "(.+?)")
		p := pattern{key: key, form: regexp.MustCompile("^" + form + "$")}
		for _, name := range place.FindAllString(text, -1) {
			p.names = append(p.names, strings.Trim(name, "{}"))
		}
		list = append(list, p)
	}
	return list
})

// quotedPlace is a place to fill in after [regexp.QuoteMeta].
var quotedPlace = regexp.MustCompile(`\\\{[a-z-]+\\\}`)

// number is what is written as the language writes numbers.
var number = regexp.MustCompile(`^[+-]?[0-9]+(\.[0-9]+)?$`)

// Translate returns a sentence that the program made in English in the language of
// the book. What is not in the table stays in English, which says more than
// nothing.
func (b *Book) Translate(text string) string {
	if number.MatchString(text) {
		return b.Figure(text)
	}
	if b.Language == Default {
		return curl(withMinus(text))
	}
	for _, p := range patterns() {
		found := p.form.FindStringSubmatch(text)
		if found == nil {
			continue
		}
		var pairs []string
		for i, name := range p.names {
			pairs = append(pairs, name, b.Translate(found[i+1]))
		}
		return b.Say(p.key, pairs...)
	}
	return curl(withMinus(text))
}

var negative = regexp.MustCompile(`(^|[ (])-([0-9])`)

// withMinus gives numbers in a text the sign for less than nothing, which does not
// part from its number at the end of a line as a hyphen does.
func withMinus(text string) string { return negative.ReplaceAllString(text, "${1}−${2}") }
