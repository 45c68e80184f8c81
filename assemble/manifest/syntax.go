package manifest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"
	"unicode/utf8"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/fault"
)

// maxBytes bounds a manifest. A production of 500 players takes about 100 kB.
const maxBytes = 1 << 20

// parseYAML turns text into the one mapping it has to hold. A fault here ends
// the reading, since there is nothing to look at behind a syntax error. The nodes
// know their lines and columns. limit is in bytes.
func parseYAML(file string, data []byte, limit int) (*yaml.Node, *fault.Fault) {
	if f := checkText(file, data, limit); f != nil {
		return nil, f
	}
	start := fault.Mark{File: file, Line: 1, Column: 1}
	first, second, err := decodeYAML(data)
	if err != nil {
		return nil, syntaxFault(file, data, err)
	}
	if second != nil {
		return nil, fault.At(fault.Manifest, markOf(file, second), "a second YAML document begins here",
			`a manifest is one document; delete the "---" or "..." line and what follows`)
	}
	if first == nil || len(first.Content) == 0 || isEmpty(first.Content[0]) {
		return nil, fault.At(fault.Manifest, start, "the file is empty",
			"run `ripieno new` in the folder of takes for a first draft, or `ripieno demo` for a whole example")
	}
	root := first.Content[0]
	if root.Kind != yaml.MappingNode {
		return nil, fault.At(fault.Manifest, markOf(file, root),
			"the file holds "+kindOf(root)+" where keys are needed",
			`begin with "version: 1" on a line of its own`)
	}
	return root, nil
}

// decodeYAML reads up to two documents. The YAML package panics on some
// malformed input; that is a syntax error to us.
func decodeYAML(data []byte) (first, second *yaml.Node, err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("yaml: %v", r)
		}
	}()
	dec := yaml.NewDecoder(bytes.NewReader(data))
	first, second = new(yaml.Node), new(yaml.Node)
	if err = dec.Decode(first); err != nil {
		if errors.Is(err, io.EOF) { // nothing but comments
			return nil, nil, nil
		}
		return nil, nil, err
	}
	if err = dec.Decode(second); err != nil {
		if errors.Is(err, io.EOF) {
			return first, nil, nil
		}
		return nil, nil, err
	}
	return first, second, nil
}

// checkText refuses what is not a text of reasonable size before YAML sees it. What
// remains can be printed to a terminal without doing anything there.
func checkText(file string, data []byte, limit int) *fault.Fault {
	whole := fault.Mark{File: file}
	if len(data) > limit {
		return fault.At(fault.Manifest, whole, fmt.Sprintf("the file is larger than %d MiB", limit>>20),
			"is this the right file?")
	}
	if bytes.HasPrefix(data, []byte("\xff\xfe")) || bytes.HasPrefix(data, []byte("\xfe\xff")) {
		return fault.At(fault.Manifest, whole, "the file is UTF-16 text", "save it as UTF-8 in your editor")
	}
	for i := 0; i < len(data); {
		r, n := utf8.DecodeRune(data[i:])
		mark := func() fault.Mark { return markAt(file, data, i) }
		switch {
		case r == utf8.RuneError && n == 1:
			return fault.At(fault.Manifest, mark(), fmt.Sprintf("byte %#02x is not UTF-8 text", data[i]),
				"save the file as UTF-8 in your editor")
		case r == '\u0085', r == '\u2028', r == '\u2029':
			// YAML 1.1 ends a line here and editors do not, so that every
			// line number after it would be wrong for one of them.
			return fault.At(fault.Manifest, mark(), fmt.Sprintf("invisible line separator %U", r),
				"delete the character")
		case r < ' ' && r != '\t' && r != '\n' && r != '\r', r >= 0x7f && r < 0xa0:
			return fault.At(fault.Manifest, mark(), fmt.Sprintf("control character %U", r), "delete the character")
		}
		i += n
	}
	return nil
}

// syntaxHints explain the YAML package's messages in words for people who do
// not know YAML. The first whose words are in the message counts. The package has no
// kinds of errors to go by, so another release of it may need other words here.
var syntaxHints = []struct {
	words, what, hint string
}{
	{`mapping values are not allowed`, `a colon is not allowed here`,
		`put text with ": " in it into quotes, or make sure that the line is indented like its neighbours`},
	{`found a tab character`, `a tab is used to indent`, `indent with spaces`},
	{`cannot start any token`, `a value cannot begin with this character`,
		`put the value into quotes`},
	{`did not find expected ',' or '}'`, `this "{" is not closed, or a comma is missing behind it`,
		`write it as {key: value, key: value}`},
	{`did not find expected ',' or ']'`, `this "[" is not closed, or a comma is missing behind it`,
		`write it as [value, value]`},
	{`unexpected end of stream`, `this quote is not closed`, `close it on the same line`},
	{`could not find expected ':'`, `a key without a colon`, `write it as key: value`},
	{`did not find expected key`, `a key is expected here`,
		`indent the keys of one group alike, and put text with quotes inside it into quotes as a whole`},
	{`did not find expected '-' indicator`, `a list entry is expected here`,
		`begin every entry of one list with "- " in the same column`},
	{`did not find expected node content`, `a value is missing here`,
		`write a value or delete the comma`},
	{`block sequence entries are not allowed`, `a list cannot begin on the line of its key`,
		`begin the list on the next line, or write [value, value]`},
	{`unknown escape character`, `an unknown escape in a quoted text`,
		`write / between folders, \\ for a backslash, or use 'single quotes'`},
	{`expected alphabetic or numeric character`, `anchors and aliases are not used in a manifest`,
		`put text that begins with "*" or "&" into quotes`},
	{`expected <document start>`, `text after the end of the document`, `delete the "..." line`},
	{`unknown anchor`, `anchors and aliases are not used in a manifest`,
		`put text that begins with "*" into quotes`},
	{`incompatible YAML document`, `directives are not used in a manifest`, `delete the line that begins with "%"`},
	{`directive`, `directives are not used in a manifest`, `delete the line that begins with "%"`},
}

// syntaxFault gives a YAML error a place and plain words.
func syntaxFault(file string, data []byte, err error) *fault.Fault {
	at := syntaxOffset(data, err.Error())
	mark := markAt(file, data, at)
	for _, h := range syntaxHints {
		if !strings.Contains(err.Error(), h.words) {
			continue
		}
		what, hint := h.what, h.hint
		if at < len(data) && data[at] == '\t' { // more than one message can mean a tab
			what, hint = "a tab is used to indent", "indent with spaces"
		}
		return fault.At(fault.Manifest, mark, what, hint)
	}
	what := regexp.MustCompile(`^yaml: (line \d+: )?`).ReplaceAllString(err.Error(), "")
	return fault.At(fault.Manifest, mark, "not YAML: "+what,
		"make sure that the line is indented and quoted like its neighbours")
}

// syntaxOffset finds the byte where data stops being YAML. The YAML package
// names a line only, often that of the group around the error, and counts it
// in two ways. But it reads from front to back and stops at the first error,
// so the shortest beginning of the file with the same error ends at its cause,
// and "has the same error" is false up to there and true from there on. It reads
// beginnings of the file some forty times at most, by halving; a manifest is 1 MiB at
// most.
func syntaxOffset(data []byte, message string) int {
	fails := func(n int) bool {
		_, _, err := decodeYAML(data[:n])
		return err != nil && err.Error() == message
	}
	search := func(ends []int) int { // the least end that fails; the last one does
		lo, hi := 0, len(ends)-1
		for lo < hi {
			mid := (lo + hi) / 2
			if fails(ends[mid]) {
				hi = mid
			} else {
				lo = mid + 1
			}
		}
		return lo
	}
	var lines []int
	for i, b := range data {
		if b == '\n' || i == len(data)-1 {
			lines = append(lines, i+1)
		}
	}
	line := search(lines)
	from := 0
	if line > 0 {
		from = lines[line-1]
	}
	var runes []int // ends and beginnings of the characters of that line
	for i := range string(data[from:lines[line]]) {
		runes = append(runes, from+i)
	}
	ends := append(runes[1:len(runes):len(runes)], lines[line])
	return runes[search(ends)]
}

// markOf returns where a node begins.
func markOf(file string, n *yaml.Node) fault.Mark {
	return fault.Mark{File: file, Line: n.Line, Column: n.Column}
}

// markAt returns the place of a byte, in lines and characters. Line ends of all three
// kinds count, and a byte-order mark has no width, as editors have it.
func markAt(file string, data []byte, at int) fault.Mark {
	before := string(data[:at])
	before = strings.TrimPrefix(before, "\ufeff")
	before = strings.ReplaceAll(strings.ReplaceAll(before, "\r\n", "\n"), "\r", "\n")
	last := before[strings.LastIndexByte(before, '\n')+1:]
	return fault.Mark{File: file, Line: 1 + strings.Count(before, "\n"), Column: 1 + utf8.RuneCountInString(last)}
}

// kindOf names what a node is, with its article.
func kindOf(n *yaml.Node) string {
	switch n.Kind {
	case yaml.MappingNode:
		return "a mapping"
	case yaml.SequenceNode:
		return "a list"
	case yaml.AliasNode:
		return "an alias"
	}
	if isEmpty(n) {
		return "nothing"
	}
	return "text"
}

// isEmpty reports whether a scalar holds no value: nothing, ~ or null.
func isEmpty(n *yaml.Node) bool {
	if n.Kind != yaml.ScalarNode || isQuoted(n) {
		return false
	}
	return n.Value == "" || n.Value == "~" || strings.EqualFold(n.Value, "null")
}

// isQuoted reports whether a scalar was written with quotes or as a block.
func isQuoted(n *yaml.Node) bool {
	return n.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle|yaml.LiteralStyle|yaml.FoldedStyle) != 0
}
