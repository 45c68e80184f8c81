// Package phrase holds the sentences of the pages that players read, in
// several languages, and lets a production replace any of them.
//
// A sentence has a key and may have places to fill in, written {like-this}.
// The English text of a key says which places it has; translations and
// replacements may leave places out but cannot have others, so that a slip in
// one is found when it is written and not when a player reads it.
//
// The package knows nothing of HTML: what it gives is plain text.
package phrase

import (
	"embed"
	"encoding/json"
	"fmt"
	"io/fs"
	"path"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
)

//go:embed words/*.json
var files embed.FS

// Default is the language that is there when none is chosen.
const Default = "en"

// texts is key to text for every language. The files are part of the program,
// and a test reads them all, so they cannot fail to load.
var texts = sync.OnceValue(func() map[string]map[string]string {
	all := map[string]map[string]string{}
	names, _ := fs.Glob(files, "words/*.json")
	for _, name := range names {
		words := map[string]string{}
		data, err := files.ReadFile(name)
		if err == nil {
			err = json.Unmarshal(data, &words)
		}
		if err != nil {
			panic("phrase: " + name + ": " + err.Error()) // a slip of ours
		}
		all[strings.TrimSuffix(path.Base(name), ".json")] = words
	}
	return all
})

// Languages returns the languages there are, as language tags ("en"), sorted.
func Languages() []string { return sorted(texts()) }

// Keys returns the keys of all sentences, sorted.
func Keys() []string { return sorted(texts()[Default]) }

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
func Places(key string) []string { return place.FindAllString(texts()[Default][key], -1) }

// Check returns an error when text cannot stand for the sentence of that key.
func Check(key, text string) error {
	if _, ok := texts()[Default][key]; !ok {
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
	words, ok := texts()[language]
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
func (b *Book) Count(key string, n int, pairs ...string) string {
	if n == 1 {
		key += "-one"
	}
	return b.Say(key, pairs...)
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
		"day", strconv.Itoa(day.Day()), "month", b.Say(fmt.Sprintf("month-%d", int(day.Month()))), "year",
		strconv.Itoa(day.Year()))
	if clock == "" {
		return date
	}
	return b.Say("date-clock", "date", date, "clock", clock)
}

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
