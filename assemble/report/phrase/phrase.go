// Package phrase holds everything that players and audience read, in several
// languages: the words of films, pages and notes. They stand in one file,
// words.txt, which a translator can edit. A production can replace the sentences
// of its call sheet.
//
// A sentence has a key and may have places to fill in, written {like-this}.
// The English text of a key says which places it has; translations and
// replacements may leave places out but cannot have others, so that a slip in
// one is found when it is written and not when a player reads it.
//
// The package knows nothing of HTML: what it gives is plain text.
package phrase

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Default is the language that is there when none is chosen.
const Default = "en"

// Languages returns the languages there are, as language tags ("en"), sorted.
func Languages() []string { return sorted(texts().texts) }

// Keys returns the keys of all sentences, sorted.
func Keys() []string { return sorted(texts().texts[Default]) }

// SheetKeys returns the keys of the sentences that a production can replace,
// sorted: those of the call sheet. Keys of films, the report and notes have a dot.
func SheetKeys() []string {
	return slices.DeleteFunc(Keys(), func(key string) bool { return strings.Contains(key, ".") })
}

// sorted returns the keys of a map in the order of their bytes.
func sorted[V any](m map[string]V) []string {
	var all []string
	for k := range m {
		all = append(all, k)
	}
	slices.Sort(all)
	return all
}

// place is something to fill in.
var place = regexp.MustCompile(`\{[a-z-]+\}`)

// Places returns what the text of a key can have filled in, each as {name}; nil
// for a key there is not.
func Places(key string) []string { return place.FindAllString(texts().texts[Default][key], -1) }

// Check returns an error when text cannot stand for the sentence of that key.
func Check(key, text string) error {
	if _, ok := texts().texts[Default][key]; !ok {
		return fmt.Errorf("unknown sentence %q", key)
	}
	known := Places(key)
	for _, p := range place.FindAllString(text, -1) {
		switch {
		case slices.Contains(known, p):
		case len(known) == 0:
			return fmt.Errorf("unknown placeholder %s in %s", p, key)
		default:
			return fmt.Errorf("unknown placeholder %s in %s, which has %s", p, key, strings.Join(known, " "))
		}
	}
	return nil
}

// Book is the sentences of one language, some of them replaced.
type Book struct {
	Language string // its tag, for the page
	own      map[string]string
	words    map[string]string
}

// Open returns the sentences of a language, "" for [Default], with those in own
// in place of its own. An unknown language or a text that [Check] refuses is
// an error.
func Open(language string, own map[string]string) (*Book, error) {
	if language == "" {
		language = Default
	}
	words, ok := texts().texts[language]
	if !ok {
		return nil, fmt.Errorf("unknown language %q; known are %s", language, strings.Join(Languages(), ", "))
	}
	for key, text := range own {
		if err := Check(key, text); err != nil {
			return nil, err
		}
	}
	return &Book{Language: language, own: own, words: words}, nil
}

// Of returns the sentences of a language that is known to be there, none of them
// replaced; those of [Default] for any other.
func Of(language string) *Book {
	if b, err := Open(language, nil); err == nil {
		return b
	}
	return &Book{Language: Default, words: texts().texts[Default]}
}

// Say returns the sentence of key with its places filled in: pairs are names
// without braces, each with its value. A key there is not gives the key
// itself, so that the page shows what is missing.
func (b *Book) Say(key string, pairs ...string) string {
	text, ok := b.own[key]
	if !ok {
		if text, ok = b.words[key]; !ok {
			return key
		}
	}
	text = curl(text)
	if len(pairs) == 0 {
		return text
	}
	fill := make([]string, 0, len(pairs))
	for i := 0; i+1 < len(pairs); i += 2 {
		fill = append(fill, "{"+pairs[i]+"}", pairs[i+1])
	}
	return strings.NewReplacer(fill...).Replace(text) // a value is never looked into
}

// Count does what Say does, with a sentence of its own, key-one, for a single thing.
// The languages that are here tell one from many and no more; none of their
// sentences is said of nothing.
func (b *Book) Count(key string, n int, pairs ...string) string {
	if n == 1 {
		key += "-one"
	}
	return b.Say(key, pairs...)
}

// Quote returns a text in the quotation marks of the language.
func (b *Book) Quote(text string) string { return b.Say("quote", "text", text) }

// List returns items as a sentence names them: with commas, and a word before the
// last.
func (b *Book) List(items []string) string {
	n := len(items)
	if n < 2 {
		return strings.Join(items, "")
	}
	return b.Say("list-and", "first", strings.Join(items[:n-1], ", "), "last", items[n-1])
}

// Number returns x with at most that many decimals and without trailing zeros.
func (b *Book) Number(x float64, decimals int) string {
	s := strconv.FormatFloat(x, 'f', decimals, 64)
	if strings.Contains(s, ".") {
		s = strings.TrimRight(strings.TrimRight(s, "0"), ".")
	}
	if s == "-0" {
		s = "0"
	}
	s = strings.Replace(s, "-", "−", 1)
	return strings.Replace(s, ".", b.Say("decimal"), 1)
}

// Clock returns seconds as m:ss, rounded to the second.
func (b *Book) Clock(seconds float64) string {
	s := int64(seconds + 0.5)
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

// Date returns a day with its weekday, and with the time of day when clock, such as
// "20:00", is not empty.
func (b *Book) Date(day time.Time, clock string) string {
	date := b.Say("date",
		"weekday", b.Say(fmt.Sprintf("weekday-%d", (int(day.Weekday())+6)%7+1)), // Monday is 1 (ISO 8601)
		"day", b.day(day), "month", b.month(day), "year", strconv.Itoa(day.Year()))
	if clock == "" {
		return date
	}
	hour, minute, _ := strings.Cut(clock, ":")
	return b.Say("date-clock", "date", date, "clock", b.Say("clock", "hour", hour, "minute", minute))
}

// Day returns a day without its weekday, as it stands on a title.
func (b *Book) Day(day time.Time) string {
	return b.Say("date-plain", "day", b.day(day), "month", b.month(day), "year", strconv.Itoa(day.Year()))
}

// day returns the number of a day; some languages count the first.
func (b *Book) day(day time.Time) string {
	if day.Day() == 1 {
		return b.Say("day-1")
	}
	return strconv.Itoa(day.Day())
}

// month returns the name of a month as dates have it.
func (b *Book) month(day time.Time) string { return b.Say(fmt.Sprintf("month-%d", int(day.Month()))) }

// Unit returns a note value such as "dotted-quarter" in words; one without a name
// here comes back as it is.
func (b *Book) Unit(name string) string {
	for _, dots := range []string{"double-dotted", "dotted"} {
		if plain, ok := strings.CutPrefix(name, dots+"-"); ok {
			return b.Say(dots, "unit", b.Unit(plain))
		}
	}
	if text := b.Say("unit-" + name); text != "unit-"+name {
		return text
	}
	return name
}

// Note returns a note such as "Bb3" as the language names it, with its octave in
// the numbering that has C4 in the middle.
func (b *Book) Note(name string) string {
	end := strings.IndexAny(name, "-0123456789")
	if end < 0 {
		end = len(name)
	}
	if text := b.Say("note-" + name[:end]); text != "note-"+name[:end] {
		return text + name[end:]
	}
	return name
}
