package manifest

import (
	"fmt"
	"regexp"
	"ripieno/assemble/production"
	"slices"
	"strconv"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"
)

// Most characters in one text of each sort. They keep a label from filling
// the memory when it is drawn. Chosen far above any real name, no source. In
// characters, not bytes.
const (
	maxLine = 200  // names of people and parts, titles
	maxCard = 2000 // the text of a card, lines included
	maxPath = 1024
)

// text reads a value of one line; "" when it is absent or faulty.
func (m mapping) text(key, example string) string { return m.textUpTo(key, example, maxLine, false) }

// textUpTo reads a text of at most so many characters; "" when it is absent or
// faulty. Line ends are taken where lines is set, other control characters never.
func (m mapping) textUpTo(key, example string, most int, lines bool) string {
	v, ok := m.scalar(key, example)
	if !ok {
		return ""
	}
	for _, r := range v.Value {
		if unicode.IsControl(r) && (r != '\n' || !lines) {
			m.at(v, "write it on one line, without escapes such as \\n", "%s holds the control character %U", key, r)
			return ""
		}
	}
	switch n := utf8.RuneCountInString(v.Value); {
	case strings.TrimSpace(v.Value) == "":
		m.at(v, fmt.Sprintf("for example %s: %s", key, example), "%s is blank", key)
		return ""
	case n > most:
		m.at(v, fmt.Sprintf("at most %d", most), "%s has %d characters", key, n)
		return ""
	}
	return v.Value
}

// pattern returns a regular expression that is compiled when it is asked for the first
// time: all of a manifest's take some milliseconds, which verbs that read none do
// without. An invalid one panics then, so every pattern must be met by a test.
func pattern(expression string) func() *regexp.Regexp {
	return sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(expression) })
}

// nameForm is a name that may become part of a file name on any system.
var nameForm = pattern(`^[\pL\pN]([\pL\pN._-]*[\pL\pN_-])?$`)

// name reads a name that becomes a file name; "" when absent. A name with a
// fault is still given back, so that what refers to it is not a fault too. The form
// alone is no promise: Windows also reserves words such as con and nul, and most
// disks take 255 bytes a name, of which the program needs some for what it adds.
func (m mapping) name(key, example string) string {
	v, ok := m.scalar(key, example)
	if !ok {
		return ""
	}
	if !nameForm().MatchString(v.Value) || utf8.RuneCountInString(v.Value) > production.MaxName {
		hint := fmt.Sprintf("letters, digits, '-', '_' and '.', at most %d, beginning with a letter or digit",
			production.MaxName)
		if s := production.Slug(v.Value); s != "" {
			hint += fmt.Sprintf("; for example %s: %s", key, s)
		}
		m.at(v, hint, "%s %q cannot be part of a file name", key, clip(v.Value))
	} else if production.IsReserved(v.Value) {
		m.at(v, fmt.Sprintf("use another, for example %s: %s", key, production.Slug(v.Value)),
			"%s %q cannot be the name of a file on Windows", key, v.Value)
	} else if n := len(v.Value); n > production.MaxNameBytes {
		m.at(v, "disks take 255 bytes for a whole file name",
			"%s %q takes %d bytes of a file name, at most %d are possible", key, clip(v.Value), n,
			production.MaxNameBytes)
	}
	return v.Value
}

// numberForm is a decimal number. YAML has others (0x1F, 1_000, .inf), which
// in a film's description are slips.
var numberForm = pattern(`^[-+]?([0-9]+(\.[0-9]*)?|\.[0-9]+)([eE][-+]?[0-9]{1,3})?$`)

// number reads a decimal number in the range that the schema gives the key. ok
// is false when the value is absent or faulty.
func (m mapping) number(key string) (x float64, ok bool) {
	// The example in a hint is 1 where the range has it, otherwise its end that is
	// nearest.
	is := m.shape.key(key).value
	lo, hi, span := is.lo, is.hi, is.span()
	v, ok := m.scalar(key, decimal(max(lo, min(hi, 1))))
	if !ok {
		return 0, false
	}
	// "3" in quotes is text in YAML. Other programs that read the file would take it
	// so.
	if isQuoted(v) && numberForm().MatchString(v.Value) {
		m.at(v, fmt.Sprintf("leave the quotes out: %s: %s", key, v.Value), "%s is a text, not a number", key)
		return 0, false
	}
	if !numberForm().MatchString(v.Value) {
		m.at(v, span+numberHint(key, v.Value, lo, hi), "%s %q is not a number", key, clip(v.Value))
		return 0, false
	}
	x, err := strconv.ParseFloat(v.Value, 64)
	if err != nil || x < lo || x > hi {
		m.at(v, span, "%s %s is out of range", key, clip(v.Value))
		return 0, false
	}
	return x, true
}

// numberHint finds the number in a value such as "-1,5", "3 dB" or "15 %",
// when it is one that would be right. A comma for the point, a typographic minus, a
// unit behind it and percent are what people write. Nothing is assumed: it is only
// asked.
func numberHint(key, value string, lo, hi float64) string {
	s := strings.Replace(strings.TrimSpace(value), ",", ".", 1)
	s = strings.Replace(s, "−", "-", 1)
	s, percent := strings.CutSuffix(s, "%")
	s = strings.TrimRight(s, "abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ° ")
	x, err := strconv.ParseFloat(s, 64)
	if percent {
		x /= 100
	}
	if err != nil || !numberForm().MatchString(s) || x < lo || x > hi {
		return ""
	}
	return fmt.Sprintf("; did you mean %s: %s?", key, decimal(x))
}

// numberOr is number, and def where nothing is written.
func (m mapping) numberOr(key string, def float64) float64 {
	if x, ok := m.number(key); ok {
		return x
	}
	return def
}

// optional is number, and nil where nothing is written.
func (m mapping) optional(key string) *float64 {
	if x, ok := m.number(key); ok {
		return &x
	}
	return nil
}

// whole reads a whole number as number reads any. A number such as 4.0 is whole.
func (m mapping) whole(key string) (n int, ok bool) {
	x, ok := m.number(key)
	if !ok {
		return 0, false
	}
	if x != float64(int(x)) {
		m.at(m.vals[key], m.shape.key(key).value.span(), "%s %s is not a whole number", key, m.vals[key].Value)
		return 0, false
	}
	return int(x), true
}

// decimal prints a number without exponent or trailing zeros.
func decimal(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// flag reads true or false; def when absent or faulty. yes, no, on and off, which
// YAML 1.1 took for these, are faults with a hint: readers of YAML differ about them.
func (m mapping) flag(key string, def bool) bool {
	v, ok := m.scalar(key, "true")
	if !ok {
		return def
	}
	if !isQuoted(v) {
		switch v.Value {
		case "true":
			return true
		case "false":
			return false
		}
	}
	hint := "write true or false, without quotes"
	switch strings.ToLower(v.Value) {
	case "yes", "y", "on", "true", "1":
		hint = "write true, without quotes"
	case "no", "n", "off", "false", "0":
		hint = "write false, without quotes"
	}
	m.at(v, hint, "%s %q is neither true nor false", key, clip(v.Value))
	return def
}

// choice reads one of the words that the schema gives the key; def when it is
// absent or faulty. words[0] stands in examples. def need not be one of the words: ""
// tells that nothing is written.
func (m mapping) choice(key, def string) string {
	words := m.shape.key(key).value.words
	if len(words) == 0 { // such a mapping has no such key
		return def
	}
	v, ok := m.scalar(key, words[0])
	if !ok {
		return def
	}
	if slices.Contains(words, v.Value) {
		return v.Value
	}
	hint := "one of " + strings.Join(words, ", ")
	if near := m.nearest(v.Value, words); near != "" {
		hint = fmt.Sprintf("did you mean %q?", near)
	}
	m.at(v, hint, "unknown %s %q", key, clip(v.Value))
	return def
}

// choose is choice for a key whose words are a set of their own type.
func choose[W ~string](m mapping, key string, def W) W { return W(m.choice(key, string(def))) }

// names refuses a second use of a name, also one that differs in capitals
// only, since names become file names and some disks ignore capitals.
type names struct {
	what string // "take"
	seen map[string]*yaml.Node
}

// newNames returns an empty set of names of what.
func newNames(what string) names { return names{what, map[string]*yaml.Node{}} }

// add notes a name, or adds a fault when another has it.
func (s names) add(m mapping, key, name string) {
	if name == "" {
		return
	}
	v := m.vals[key]
	first := s.seen[production.Fold(name)]
	switch {
	case first == nil:
		s.seen[production.Fold(name)] = v
	case first.Value == name:
		m.at(v, fmt.Sprintf("the first is on line %d; every %s needs a name of its own", first.Line, s.what),
			"a second %s is named %q", s.what, name)
	default:
		m.at(v, fmt.Sprintf("choose another name: %q is on line %d, and some disks ignore capitals", first.Value,
			first.Line),
			"%s %q differs from another only in capitals", s.what, name)
	}
}
