package manifest

import (
	"fmt"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/fault"
)

// maxFaults bounds what one reading reports: nobody mends more in one go, and
// a file that is not a manifest at all would print a line for every key.
const maxFaults = 100

// reader collects the faults of one file.
//
// Nothing stops at a fault: readers return a value that can be gone on with, mostly
// the default, and the faults decide at the end. A reader must therefore report each
// fault once, and not what only follows from another.
type reader struct {
	file   string
	dir    string // where the score is looked for
	faults fault.List
	hint   string // replaces every hint, for files no person writes
	advice []string
	ask    *Follow // not nil: only what has to be found in a recording is wanted
	// Bounded by maxTries; it counts over the whole file.
	tries int // comparisons made by nearest so far
}

// at adds a fault at the beginning of a node. hint may be "" where there is nothing
// to advise. Values of the file go into the text through clip: they may be of any
// length.
func (r *reader) at(n *yaml.Node, hint, format string, args ...any) {
	if r.hint != "" {
		hint = r.hint
	}
	r.faults.Add(fault.At(fault.Manifest, markOf(r.file, n), fmt.Sprintf(format, args...), hint))
}

// advise adds a sentence about a node that is right as it is read.
func (r *reader) advise(n *yaml.Node, format string, args ...any) {
	if len(r.advice) < maxFaults {
		r.advice = append(r.advice, markOf(r.file, n).String()+": "+fmt.Sprintf(format, args...))
	}
}

// err returns all faults in order of place, the first maxFaults of them.
func (r *reader) err() error {
	sorted := r.faults
	// Err sorts the list in place.
	if err := sorted.Err(); err == nil {
		return nil
	}
	if len(sorted) > maxFaults {
		more := fault.New(fault.Manifest, r.file, fmt.Sprintf("and %d more faults", len(sorted)-maxFaults), "")
		sorted = append(sorted[:maxFaults:maxFaults], more)
	}
	return sorted
}

// mapping is one group of keys while it is read. It is a value that shares its maps:
// copies see the same keys.
type mapping struct {
	*reader
	shape *shape
	node  *yaml.Node
	keys  map[string]*yaml.Node
	vals  map[string]*yaml.Node
	needs map[string]bool // keys that cannot be left out
}

// mapping checks the keys of a node and gives access to their values. The
// result is usable, and empty, when n is not a mapping at all.
func (r *reader) mapping(n *yaml.Node, s *shape) mapping {
	m := mapping{r, s, n, map[string]*yaml.Node{}, map[string]*yaml.Node{}, map[string]bool{}}
	if n.Kind == yaml.AliasNode { // refuseSharing has said what there is to say
		return m
	}
	if n.Kind != yaml.MappingNode {
		r.at(n, "for example "+s.example, "%s must be a mapping, not %s", s.name, describe(n))
		return m
	}
	// A mapping's content alternates between keys and values.
	for i := 0; i+1 < len(n.Content); i += 2 {
		k, v := n.Content[i], n.Content[i+1]
		switch {
		case k.Kind != yaml.ScalarNode:
			r.at(k, "keys of "+s.name+": "+strings.Join(s.names(), ", "), "a key must be a word, not %s", kindOf(k))
		case k.Value == "<<" && !isQuoted(k):
			r.at(k, "write the keys out again", "merge keys are not used in a manifest")
		case m.keys[k.Value] != nil:
			r.at(k, fmt.Sprintf("the first is on line %d; keep one of them", m.keys[k.Value].Line),
				"key %q is written twice", k.Value)
		case !slices.Contains(s.names(), k.Value):
			hint := r.keyHint(s, k.Value)
			// {text: Allegro, ma non troppo} reads as a second key without a value.
			if i > 0 && v.Tag == "!!null" && v.Value == "" && n.Style&yaml.FlowStyle != 0 && !isNumeral(k.Value) {
				hint = fmt.Sprintf("inside braces a comma ends a value; with quotes it does not: %q",
					clip(n.Content[i-1].Value)+", "+clip(k.Value))
			}
			r.at(k, hint, "unknown key %q in %s", k.Value, s.name)
		default:
			m.keys[k.Value] = k
			m.vals[k.Value] = v
		}
	}
	return m
}

// isNumeral reports whether a text has nothing but digits.
func isNumeral(text string) bool { return text != "" && strings.Trim(text, "0123456789") == "" }

// has reports whether a key was written, with or without a good value.
func (m mapping) has(key string) bool { return m.keys[key] != nil }

// need adds a fault when a key is missing, and tells whether it is there. It also
// notes that hints must not advise to leave the key out.
func (m mapping) need(key, hint string) bool {
	m.needs[key] = true
	if m.node.Kind != yaml.MappingNode { // already a fault
		return false
	}
	if !m.has(key) {
		m.at(m.node, hint, "missing key %q in %s", key, m.shape.name)
	}
	return m.has(key)
}

// orDelete ends the hint for a key with nothing behind it.
func (m mapping) orDelete(key string) string {
	if m.needs[key] {
		return ""
	}
	return ", or leave it out"
}

// scalar returns the text of a value. It is false when the key is absent, and adds
// a fault when there is something other than one value behind it. example is what a
// hint shows behind the key.
func (m mapping) scalar(key, example string) (*yaml.Node, bool) {
	v := m.vals[key]
	if v == nil {
		return nil, false
	}
	hint := fmt.Sprintf("for example %s: %s", key, example)
	switch {
	// Told by refuseSharing.
	case v.Kind == yaml.AliasNode:
		return nil, false
	case v.Kind != yaml.ScalarNode:
		m.at(v, hint, "%s must be a single value, not %s", key, kindOf(v))
		return nil, false
	case isEmpty(v):
		// The position of nothing is that of whatever comes next, so the
		// fault goes to the key.
		m.at(m.keys[key], hint+m.orDelete(key), "%s has no value", key)
		return nil, false
	}
	return v, true
}

// list returns the entries of a list, nil when the key is absent. example is the
// whole line, key included. Entries are not checked: each may be anything.
func (m mapping) list(key, example string) []*yaml.Node {
	v := m.vals[key]
	if v == nil {
		return nil
	}
	switch {
	case v.Kind == yaml.SequenceNode:
		return v.Content
	case isEmpty(v):
		m.at(m.keys[key], "for example "+example+m.orDelete(key), "%s has no entries", key)
	case v.Kind != yaml.AliasNode:
		m.at(v, "for example "+example, "%s must be a list, not %s", key, describe(v))
	}
	return nil
}

// child returns the mapping behind a key, and false when the key is absent or has
// no mapping behind it. The mapping may have been told faults of its own; what could
// be read of it is used.
func (m mapping) child(key string, s *shape) (mapping, bool) {
	v := m.vals[key]
	if v == nil {
		return mapping{}, false
	}
	if isEmpty(v) {
		m.at(m.keys[key], "for example "+s.example+m.orDelete(key), "%s has no value", key)
		return mapping{}, false
	}
	c := m.mapping(v, s)
	return c, v.Kind == yaml.MappingNode
}

// describe returns kindOf with the value of a text.
func describe(n *yaml.Node) string {
	if n.Kind == yaml.ScalarNode && !isEmpty(n) {
		return fmt.Sprintf("%q", clip(n.Value))
	}
	return kindOf(n)
}

// clip keeps a value short enough to print. It counts characters. Whoever prints a
// value of the file with %q uses it first.
func clip(s string) string {
	const most = 60
	if r := []rune(s); len(r) > most {
		return string(r[:most]) + "…"
	}
	return s
}

// refuseSharing adds a fault for every anchor, alias and tag below n. Aliases
// let a few lines stand for gigabytes, anchors are of no use without them,
// and tags change what a value means; none is needed to describe a film.
func (r *reader) refuseSharing(n *yaml.Node) {
	switch {
	case n.Kind == yaml.AliasNode:
		r.at(n, `write the value out again, or put text that begins with "*" into quotes`,
			"anchors and aliases are not used in a manifest")
		return // never follow an alias: it may lead round in circles
	case n.Anchor != "":
		r.at(n, `delete it, or put text that begins with "&" into quotes`,
			"anchor %q: anchors and aliases are not used in a manifest", clip(n.Anchor))
	case n.Style&yaml.TaggedStyle != 0:
		r.at(n, `delete it, or put text that begins with "!" into quotes`, "tag %q: tags are not used in a manifest",
			clip(n.Tag))
	}
	for _, c := range n.Content {
		r.refuseSharing(c)
	}
}
