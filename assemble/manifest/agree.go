package manifest

import (
	"strings"

	"go.yaml.in/yaml/v3"
)

// Agree reports whether two manifests say the same of what changes are about, so that a
// person who had one of them before them may decide it in the other. Of an entry of a list
// all of it counts, and of a list that gets or loses an entry the whole list. What cannot
// be read agrees with nothing.
func Agree(a, b []byte, changes []Change) bool {
	before, bad := parseYAML(FileName, a, maxBytes)
	if bad != nil {
		return false
	}
	after, bad := parseYAML(FileName, b, maxBytes)
	if bad != nil {
		return false
	}
	for _, c := range changes {
		if c.Take != "" && (takeNode(before, c.Take) == nil || takeNode(after, c.Take) == nil) {
			return false
		}
		one, other := c.subject(before), c.subject(after)
		if one == nil || other == nil {
			if one != other {
				return false
			}
			continue
		}
		if !saysSame(one, other) {
			return false
		}
	}
	return true
}

// subject returns the node that a change is about; nil where nothing stands there yet.
func (c Change) subject(root *yaml.Node) *yaml.Node {
	at := root
	if c.Take != "" {
		at = takeNode(root, c.Take)
	}
	for i, key := range c.Keys {
		if at == nil || at.Kind == yaml.ScalarNode { // a word stands for all of it
			return at
		}
		isEntry := at.Kind == yaml.SequenceNode
		if isEntry && (i == len(c.Keys)-1 || strings.HasPrefix(key, "+")) {
			return at
		}
		at = stepInto(at, key)
		if isEntry {
			return at
		}
	}
	return at
}

// saysSame reports whether two nodes hold the same values, however they are written.
func saysSame(a, b *yaml.Node) bool {
	if a.Kind != b.Kind || a.Tag != b.Tag || a.Value != b.Value || len(a.Content) != len(b.Content) {
		return false
	}
	for i, n := range a.Content {
		if !saysSame(n, b.Content[i]) {
			return false
		}
	}
	return true
}
