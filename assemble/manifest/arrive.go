package manifest

import (
	"bytes"
	"cmp"
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
)

// TakesFor returns whose recording a file is, going by its name alone: the takes
// whose name, part or player explain the most words of it, in the order of the
// manifest. One is an answer, several are a question, and none says nothing.
//
// A name or part counts when it is there as a whole, and not when another
// number follows, so that "horn-2.mov" is not the horn's; abbreviations and
// other languages count for a part as in [Scaffold]. Of a player, one word is
// enough. Capitals, accents and what separates words do not matter. It is a proposal
// and no decision: a stranger chooses the file's name.
func TakesFor(p *production.Production, file string) []string {
	base := path.Base(file)
	stem := copyForm().ReplaceAllString(strings.TrimSuffix(base, path.Ext(base)), "")
	words := nameWords(stem)
	guessed := guessName(stem, nil).part()
	var best []string
	most := 0
	for _, t := range p.Takes {
		covered := map[int]bool{}
		part := coverPhrase(covered, words, nameWords(t.Part))
		coverPhrase(covered, words, nameWords(t.Name))
		for _, w := range nameWords(t.Player) {
			// Words of two letters, "de" or "st", are in too many names.
			if i := slices.Index(words, w); i >= 0 && len([]rune(w)) > 2 {
				covered[i] = true
			}
		}
		score := len(covered)
		// One point, whatever the number of its words: the file's name only means the
		// part, by an abbreviation or in another language.
		if !part && guessed != "" && slices.Equal(nameWords(guessed), nameWords(t.Part)) {
			score++
		}
		switch {
		case score == 0 || score < most:
		case score > most:
			best, most = []string{t.Name}, score
		default:
			best = append(best, t.Name)
		}
	}
	return best
}

// nameWords returns the words of a name without accents, in small letters, numbers
// of parts as figures.
func nameWords(s string) []string {
	words := splitName(s)
	for i, w := range words {
		words[i] = plainWord(w)
		if n := numeral(words[i]); n > 0 {
			words[i] = strconv.Itoa(n)
		}
	}
	return words
}

// coverPhrase marks the words of a name that a phrase explains and tells
// whether it is in there.
func coverPhrase(covered map[int]bool, words, phrase []string) bool {
	if len(phrase) == 0 {
		return false
	}
	for i := 0; i+len(phrase) <= len(words); i++ {
		end := i + len(phrase)
		if !slices.Equal(words[i:end], phrase) || end < len(words) && numeral(words[end]) > 0 {
			continue
		}
		for k := i; k < end; k++ {
			covered[k] = true
		}
		return true
	}
	return false
}

// Arrival is a recording that has come in for a take.
type Arrival struct {
	Take string
	Role production.Role
	Path string // relative to the production's folder, with slashes
}

// Adopted is a manifest with an arrival in it.
type Adopted struct {
	Data []byte // the whole manifest
	Line int    // the line that differs, from 1
	Text string // that line as it reads now
}

// Adopt writes an arrival into the manifest data: in place of expected: of its
// take, or before the other recording of a take that is in already. It changes
// no other byte, as [Pin] does, and takes p like it.
//
// A take that is not there or has such a recording, a path that a manifest
// cannot name and a way of writing nothing can be added to are faults.
//
// p is the production that data was read into, for its paths in faults, or nil. The
// caller writes the bytes to disk under the lock of the manifest, since nothing here
// sees whether the file has changed meanwhile.
func Adopt(data []byte, p *production.Production, a Arrival) (Adopted, error) {
	file, dir := FileName, "."
	if p != nil {
		file, dir = cmp.Or(p.Path, file), cmp.Or(p.Dir, dir)
	}
	if _, err := parseIn(dir, file, data); err != nil {
		return Adopted{}, err
	}
	byHand := fmt.Sprintf("write %s: {file: %s} into take %q by hand", a.Role, yamlText(a.Path), a.Take)
	refuse := func(what string) (Adopted, error) {
		return Adopted{}, fault.New(fault.Manifest, file, what, byHand)
	}
	if what, hint := pathFault(a.Path); what != "" || !writable(a.Path) {
		return Adopted{}, fault.New(fault.Manifest, file, cmp.Or(what,
			fmt.Sprintf("%q cannot be written in a manifest", a.Path)), cmp.Or(hint, "give the file another name"))
	}
	root, bad := parseYAML(file, data, maxBytes)
	if bad != nil {
		return Adopted{}, bad
	}
	take := takeNode(root, a.Take)
	switch {
	case take == nil:
		return refuse(fmt.Sprintf("there is no take %q", a.Take))
	case valueOf(take, string(a.Role)) != nil:
		return refuse(fmt.Sprintf("take %q already has %s", a.Take, a.Role.Phrase()))
	}
	src := newSource(data)
	begin, end, text, ok := arrivalEdit(src, take, a)
	if !ok {
		return refuse(fmt.Sprintf("take %q is written in a way that nothing can be added to", a.Take))
	}
	out := slices.Concat(data[:begin], []byte(text), data[end:])
	// The proof that no other value moved: what was written is read again and
	// compared, node by node, with what was meant.
	again, bad := parseYAML(file, out, maxBytes)
	if bad != nil || !differsOnlyBy(root, again, nil) { // arrivalEdit has changed root to what is meant
		return refuse(fmt.Sprintf("take %q is written in a way that nothing can be added to", a.Take))
	}
	if _, err := parseIn(dir, file, out); err != nil {
		return Adopted{}, err
	}
	return Adopted{Data: out, Line: 1 + bytes.Count(data[:begin], []byte("\n")), Text: lineAt(out, begin)}, nil
}

// arrivalEdit finds what to replace, by what, and makes the same change in the
// nodes of the take. begin and end are bytes of the file; ok is false where it cannot
// be said where the old value ends. root is then changed all the same and must not be
// used.
func arrivalEdit(src *source, take *yaml.Node, a Arrival) (begin, end int, text string, ok bool) {
	flow := take.Style&yaml.FlowStyle != 0
	role := string(a.Role)
	key, value := entryOf(take, "expected")
	replace := key != nil
	if !replace {
		if key, _ = entryOf(take, string(a.Role.Other())); key == nil {
			return 0, 0, "", false
		}
	}
	// A take in the style of JSON, keys in quotes, stays in that style.
	quote, name := "", yamlText(a.Path)
	if key.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) != 0 {
		quote = string(src.data[src.offset(key)])
		if name[0] != '"' {
			name = `"` + name + `"`
		}
	}
	// Before the other recording's key, on a line of its own where the take has such
	// lines.
	begin = src.offset(key)
	text = quote + role + quote + ": {" + quote + "file" + quote + ": " + name + "}"
	word := &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: role, Style: key.Style}
	field := &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: "file", Style: key.Style}
	said := &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: a.Path}
	if name[0] == '"' {
		said.Style = yaml.DoubleQuotedStyle
	}
	mapping := &yaml.Node{Kind: yaml.MappingNode, Tag: "!!map", Style: yaml.FlowStyle,
		Content: []*yaml.Node{field, said}}
	at := slices.Index(take.Content, key)
	if replace {
		_, end, ok = src.scalar(value, flow)
		take.Content[at], take.Content[at+1] = word, mapping
		return begin, end, text, ok && key.Line == value.Line
	}
	if flow {
		text += ", "
	} else {
		text += src.newline(begin) + strings.Repeat(" ", key.Column-1)
	}
	take.Content = slices.Insert(take.Content, at, word, mapping)
	return begin, begin, text, true
}

// takeNode returns the mapping of a take; nil when there is none.
func takeNode(root *yaml.Node, name string) *yaml.Node {
	takes := valueOf(root, "takes")
	if takes == nil {
		return nil
	}
	for _, t := range takes.Content {
		if n := valueOf(t, "name"); n != nil && n.Value == name {
			return t
		}
	}
	return nil
}

// lineAt returns the line a byte is on, without its end.
func lineAt(data []byte, at int) string {
	from := bytes.LastIndexByte(data[:at], '\n') + 1
	line, _, _ := bytes.Cut(data[from:], []byte("\n"))
	return strings.TrimSuffix(string(line), "\r")
}
