package manifest

import (
	"bytes"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
)

// Change is one thing a person has decided: what stands at a place of the
// manifest from now on.
type Change struct {
	// Take is the take whose mapping Keys begin in; "" begins at the top.
	Take string
	// Keys lead to the value, such as gain, or video and offset. An entry of a list is
	// its number, from 0. The number of entries adds one, and +2 adds one that becomes
	// number 2.
	Keys []string
	// Value is the new value as YAML on one line; "" takes the entry away.
	Value string
}

// String returns the place of a change, for messages.
func (c Change) String() string {
	keys := strings.Join(c.Keys, ".")
	if c.Take == "" {
		return keys
	}
	return fmt.Sprintf("%s of take %q", keys, c.Take)
}

// Apply makes changes in the manifest data, one after the other, and touches no
// byte that they are not about: comments, quotes, line ends and order stay as the
// person left them. The result reads back with exactly these values. p is the
// production that was read from data and serves for the path in faults and to find
// a score; it may be nil.
//
// A manifest that Parse would refuse, before or afterwards, is refused with its
// faults. So is a place that is not there, and one that is written in a way that
// cannot be changed without touching more.
//
// The desk uses it, and everything that writes what a person has decided. Values are
// YAML of the caller: one that came from outside goes through yamlText first, and
// what it means is checked by reading the whole file again.
func Apply(data []byte, p *production.Production, changes []Change) ([]byte, error) {
	where := belongingOf(p)
	if _, err := where.parse(data); err != nil {
		return nil, err
	}
	out := data
	for _, c := range changes {
		next, err := applyOne(out, c)
		if err != nil {
			return nil, fault.New(fault.Manifest, where.path, fmt.Sprintf("%s cannot be changed from here: %v", c, err),
				"change it in the file by hand").Because(err)
		}
		out = next
	}
	// A change that changes nothing must not give the file a new time.
	if bytes.Equal(out, data) {
		return data, nil
	}
	if _, err := where.parse(out); err != nil {
		return nil, err
	}
	return out, nil
}

// applyOne makes one change. It changes the nodes of the text as it is meant, and
// keeps the new text only when it reads as those nodes. An error says in words for
// people why not.
func applyOne(data []byte, c Change) ([]byte, error) {
	root, bad := parseYAML(FileName, data, maxBytes)
	if bad != nil {
		return nil, bad
	}
	in := root
	if c.Take != "" {
		if in = takeNode(root, c.Take); in == nil {
			return nil, fmt.Errorf("there is no such take")
		}
	}
	keys, value := c.Keys, c.Value
	for len(keys) > 1 {
		inner := stepInto(in, keys[0])
		if inner == nil || inner.Kind == yaml.ScalarNode {
			if value == "" {
				return data, nil // nothing stands there
			}
			// The mapping is missing, or a word stands for it: it is written whole.
			value, keys = wrapValue(keys[1:], value), keys[:1]
			break
		}
		in, keys = inner, keys[1:]
	}
	if len(keys) == 0 {
		return nil, fmt.Errorf("no key is given")
	}
	e := editor{src: newSource(data), data: data}
	next, err := e.set(in, keys[0], value)
	if err != nil {
		return nil, err
	}
	again, bad := parseYAML(FileName, next, maxBytes)
	if bad != nil || !differsOnlyBy(root, again, nil) {
		return nil, fmt.Errorf("it is written in a way that nothing can be changed in")
	}
	return next, nil
}

// wrapValue returns a value inside mappings of the keys given. They are written in
// braces, which is possible in every place.
func wrapValue(keys []string, value string) string {
	for _, k := range slices.Backward(keys) {
		value = "{" + k + ": " + value + "}"
	}
	return value
}

// stepInto returns the value behind a key of a mapping or a number of a list; nil
// when there is none.
func stepInto(n *yaml.Node, key string) *yaml.Node {
	if n.Kind != yaml.SequenceNode {
		return valueOf(n, key)
	}
	if i, err := strconv.Atoi(key); err == nil && i >= 0 && i < len(n.Content) {
		return n.Content[i]
	}
	return nil
}

// editor makes one change in a text and, in step with it, in its nodes. It serves for
// one change: afterwards neither data nor src fits the nodes any more.
type editor struct {
	src  *source
	data []byte
}

// replace returns the text with bytes exchanged.
func (e editor) replace(begin, end int, text string) []byte {
	return slices.Concat(e.data[:begin], []byte(text), e.data[end:])
}

// set writes, exchanges or takes away one entry of a mapping or a list. in is the
// mapping or list, and is changed with the text. When it fails, it may be changed
// already and must not be used.
func (e editor) set(in *yaml.Node, key, value string) ([]byte, error) {
	var old *yaml.Node
	if !strings.HasPrefix(key, "+") {
		old = stepInto(in, key)
	}
	var node *yaml.Node
	if value != "" {
		var err error
		if node, err = valueNode(value); err != nil {
			return nil, err
		}
	}
	switch {
	case old == nil && node == nil:
		return e.data, nil
	case old == nil && in.Kind == yaml.SequenceNode:
		return e.addEntry(in, key, value, node)
	case old == nil:
		return e.addPair(in, key, value, node)
	case node == nil && in.Kind == yaml.SequenceNode:
		return e.removeEntry(in, old)
	case node == nil:
		return e.removePair(in, key)
	}
	begin, end, ok := e.span(old, in.Style&yaml.FlowStyle != 0)
	if !ok {
		return nil, fmt.Errorf("it is written over several lines")
	}
	if string(e.data[begin:end]) == value {
		return e.data, nil
	}
	in.Content[slices.Index(in.Content, old)] = node
	return e.replace(begin, end, value), nil
}

// valueNode reads a value as it will be read in the manifest. A value without quotes
// and with a # in it would be cut off there by a comment, and a line break would
// begin another entry: both are refused.
func valueNode(value string) (*yaml.Node, error) {
	root, bad := parseYAML(FileName, []byte("value: "+value+"\n"), maxBytes)
	if bad != nil || len(root.Content) != 2 || strings.ContainsAny(value, "\r\n#") && isPlain(root.Content[1]) {
		return nil, fmt.Errorf("%q is no value", clip(value))
	}
	return root.Content[1], nil
}

// isPlain reports whether a scalar is written without quotes.
func isPlain(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && !isQuoted(n) }

// span returns the bytes of a value that ends on a line of its own kind: a scalar, or
// a mapping or list in braces. ok is false for one in lines. flow tells that it
// stands in braces itself.
func (e editor) span(n *yaml.Node, flow bool) (begin, end int, ok bool) {
	if n.Kind == yaml.ScalarNode {
		return e.src.scalar(n, flow)
	}
	if n.Style&yaml.FlowStyle == 0 {
		return 0, 0, false
	}
	begin = e.src.offset(n)
	end, ok = closingBrace(e.data, begin)
	return begin, end, ok
}

// closingBrace returns the byte behind the brace that closes the one at begin. Braces
// in quotes and comments do not count. An apostrophe begins a quote only where a
// value can begin: "the lamplighter's" is a word.
func closingBrace(data []byte, begin int) (end int, ok bool) {
	depth := 0
	for i := begin; i < len(data); i++ {
		switch c := data[i]; c {
		case '{', '[':
			depth++
		case '}', ']':
			if depth--; depth == 0 {
				return i + 1, true
			}
		case '"', '\'':
			if i > 0 && !bytes.ContainsRune([]byte(" \t\r\n{[,:"), rune(data[i-1])) {
				continue // an apostrophe inside a word
			}
			for i++; i < len(data) && data[i] != c; i++ {
				if c == '"' && data[i] == '\\' {
					i++
				}
			}
		case '#':
			if i > 0 && bytes.ContainsRune([]byte(" \t\r\n"), rune(data[i-1])) {
				for i < len(data) && data[i] != '\n' {
					i++
				}
			}
		}
	}
	return 0, false
}

// addPair writes a key that a mapping lacks: behind the last entry whose end can be
// told, which in a mapping in lines is one line. An entry that is written over
// several lines is gone past, and the new key comes before it. A comment behind the
// entry stays on its line.
func (e editor) addPair(in *yaml.Node, key, value string, node *yaml.Node) ([]byte, error) {
	if in.Kind != yaml.MappingNode {
		return nil, fmt.Errorf("there is %s where a mapping is needed", kindOf(in))
	}
	flow := in.Style&yaml.FlowStyle != 0
	word := &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!str", Value: key}
	for i := len(in.Content) - 2; i >= 0; i -= 2 {
		k, v := in.Content[i], in.Content[i+1]
		begin, end, ok := e.span(v, flow)
		if !ok || !flow && bytes.ContainsAny(e.data[e.src.offset(k):end], "\r\n") {
			continue
		}
		in.Content = slices.Insert(in.Content, i+2, word, node)
		if flow {
			quote := quoteOf(e.src, k)
			if quote != "" {
				word.Style = k.Style
			}
			return e.replace(end, end, ", "+quote+key+quote+": "+value), nil
		}
		// "- " before the first key of a list's entry counts as indentation.
		lead := e.src.before(e.src.offset(k))
		if strings.Trim(lead, " -") != "" {
			break
		}
		end = e.src.lineEnd(end)
		return e.replace(end, end, e.src.newline(begin)+strings.Repeat(" ", len(lead))+key+": "+value), nil
	}
	return nil, fmt.Errorf("it is written in a way that nothing can be added to")
}

// removePair takes a key and its value away. A remark behind it stays, on a line of
// its own. The first key of an entry of a list stands behind its dash and cannot be
// taken away without moving the others.
func (e editor) removePair(in *yaml.Node, key string) ([]byte, error) {
	k, v := entryOf(in, key)
	flow := in.Style&yaml.FlowStyle != 0
	begin := e.src.offset(k)
	_, end, ok := e.span(v, flow)
	if !ok {
		return nil, fmt.Errorf("it is written over several lines")
	}
	at := slices.Index(in.Content, k)
	in.Content = slices.Delete(in.Content, at, at+2)
	if flow {
		begin, end = e.withComma(begin, end)
		return e.replace(begin, end, ""), nil
	}
	if strings.Trim(e.src.before(begin), " ") != "" {
		return nil, fmt.Errorf("the entry begins with it")
	}
	begin, end = e.wholeLine(begin, end)
	return e.replace(begin, end, ""), nil
}

// withComma widens the bytes of an entry in braces by the comma that goes with it. It
// is the one before the entry, or behind it for the first.
func (e editor) withComma(begin, end int) (from, to int) {
	if i := begin - len(bytes.TrimRight(e.data[:begin], " \t")); begin-i > 0 && e.data[begin-i-1] == ',' {
		return begin - i - 1, end
	}
	rest := bytes.TrimLeft(e.data[end:], " \t")
	if bytes.HasPrefix(rest, []byte(",")) {
		rest = bytes.TrimLeft(rest[1:], " \t")
		return begin, len(e.data) - len(rest)
	}
	return begin, end
}

// wholeLine widens bytes to their line where nothing else stands on it, and else to
// the spaces behind them.
func (e editor) wholeLine(begin, end int) (from, to int) {
	stop := e.src.lineEnd(end)
	if len(bytes.TrimSpace(e.data[end:stop])) > 0 {
		return begin, stop - len(bytes.TrimLeft(e.data[end:stop], " \t"))
	}
	from = begin - len(e.src.before(begin))
	if stop == len(e.data) { // the last line, without an end: that of the line before goes
		return len(bytes.TrimRight(e.data[:from], "\r\n")), stop
	}
	return from, stop + len(e.src.newline(stop))
}

// addEntry writes one more entry into a list, behind another one. There is no adding
// to an empty list: it does not show how its entries are to be written.
func (e editor) addEntry(in *yaml.Node, key, value string, node *yaml.Node) ([]byte, error) {
	n := len(in.Content)
	at, err := strconv.Atoi(strings.TrimPrefix(key, "+"))
	if err != nil || at < 1 || at > n {
		return nil, fmt.Errorf("the list has %d entries", n)
	}
	return e.insertBehind(in, at-1, value, node)
}

// insertBehind writes an entry behind entry i of a list that is in braces or has a
// line for each entry.
func (e editor) insertBehind(in *yaml.Node, i int, value string, node *yaml.Node) ([]byte, error) {
	flow := in.Style&yaml.FlowStyle != 0
	last := in.Content[i]
	begin, end, ok := e.span(last, flow)
	if !ok {
		return nil, fmt.Errorf("an entry is written over several lines")
	}
	in.Content = slices.Insert(in.Content, i+1, node)
	if flow {
		return e.replace(end, end, ", "+value), nil
	}
	lead := e.src.before(begin)
	if strings.Trim(lead, " -") != "" || !strings.Contains(lead, "-") {
		return nil, fmt.Errorf("an entry is written in a way that nothing can be added behind")
	}
	end = e.src.lineEnd(end)
	return e.replace(end, end, e.src.newline(begin)+lead+value), nil
}

// removeEntry takes an entry of a list away. The last one stays, since a key with an
// empty list is a fault; whoever wants none takes the key away.
func (e editor) removeEntry(in, old *yaml.Node) ([]byte, error) {
	flow := in.Style&yaml.FlowStyle != 0
	begin, end, ok := e.span(old, flow)
	if !ok || len(in.Content) == 1 {
		return nil, fmt.Errorf("it is written over several lines, or the only entry")
	}
	i := slices.Index(in.Content, old)
	in.Content = slices.Delete(in.Content, i, i+1)
	if flow {
		begin, end = e.withComma(begin, end)
		return e.replace(begin, end, ""), nil
	}
	lead := e.src.before(begin)
	if strings.Trim(lead, " -") != "" {
		return nil, fmt.Errorf("it is written in a way that cannot be taken away")
	}
	begin -= len(strings.TrimLeft(lead, " "))
	begin, end = e.wholeLine(begin, end)
	return e.replace(begin, end, ""), nil
}
