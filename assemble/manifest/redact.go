package manifest

import (
	"fmt"
	"path"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"
)

// plainScalar matches what a manifest says without naming anybody: numbers, times,
// measures, sizes, meters.
var plainScalar = pattern(
	`^(-?[0-9]+(\.[0-9]+)?(/[0-9]+)?|[0-9]+:[0-9:.]+|m[0-9]+(\.[0-9.]+)?|[0-9]+x[0-9]+)$`)

// shownEnding matches the ending of a file's name that says what kind it is.
var shownEnding = pattern(`^\.[A-Za-z0-9]{1,5}$`)

// recordingKey is the one key from whose value is a file.
const recordingKey = "tempo.from"

// redactor replaces what may tell who somebody is. The same text is replaced by the
// same word each time, so that it can still be seen what refers to what. The words
// are numbered as they come, so two manifests are redacted each by itself and cannot
// be compared.
type redactor struct {
	words map[string]bool // of the program: choices that keys have
	// For the last word of a key, all types that it has anywhere in the file: name is
	// text in a take and a file's name in a deliverable. The strictest decides.
	forms map[string][]string
	seen  map[string]string
}

// Redact returns a manifest as it may be shown to strangers who help: its keys, its
// numbers and the program's own words stay, and every other text, comments
// included, is replaced by one that only says whether it is the same as another.
// Of a file that is no YAML it says only that. It needs no valid manifest: people ask
// for help because theirs is not one. What is not a key of the program is replaced
// with all below it.
func Redact(data []byte) string {
	var doc yaml.Node
	if yaml.Unmarshal(data, &doc) != nil || len(doc.Content) == 0 {
		return fmt.Sprintf("(%d bytes that are no YAML)\n", len(data))
	}
	r := redactor{words: map[string]bool{}, forms: map[string][]string{}, seen: map[string]string{}}
	for _, k := range Keys() {
		name := k.Key[strings.LastIndexAny(k.Key, ".")+1:]
		if k.Key == recordingKey { // elsewhere from is a time
			name = recordingKey
		}
		r.forms[name] = append(r.forms[name], k.Type)
	}
	topShape.eachWord(func(w string) { r.words[w] = true })
	r.node(doc.Content[0], "", true)
	out, err := yaml.Marshal(doc.Content[0])
	if err != nil {
		return fmt.Sprintf("(%d bytes)\n", len(data))
	}
	return string(out)
}

// eachWord calls use with every word that is a value of some key.
func (s *shape) eachWord(use func(string)) {
	for _, k := range s.keys {
		for _, w := range k.value.words {
			use(w)
		}
		if k.value.of != nil {
			k.value.of.eachWord(use)
		}
	}
}

// node redacts a node, which is the value of key; known tells that the keys above
// it are the program's.
func (r *redactor) node(n *yaml.Node, key string, known bool) {
	n.HeadComment, n.LineComment, n.FootComment, n.Anchor = "", "", "", ""
	switch n.Kind {
	case yaml.MappingNode:
		for i := 0; i+1 < len(n.Content); i += 2 {
			k, v := n.Content[i], n.Content[i+1]
			name := k.Value
			if key+"."+name == recordingKey {
				name = recordingKey
			}
			// A key of the program below one that is not may be anything: a person's
			// name that is spelt like a key, for example.
			mine := known && r.forms[name] != nil
			k.HeadComment, k.LineComment, k.FootComment, k.Anchor = "", "", "", ""
			if !mine {
				r.node(k, "", false)
			}
			r.node(v, name, mine)
		}
	case yaml.SequenceNode:
		for _, c := range n.Content {
			r.node(c, key, known)
		}
	case yaml.AliasNode:
		*n = yaml.Node{Kind: yaml.ScalarNode, Value: "(alias)"}
	default:
		if !known || !r.shows(key, n.Value) {
			*n = yaml.Node{Kind: yaml.ScalarNode, Value: r.instead(key, n.Value)}
		}
	}
}

// shows reports whether a value of key may be shown as it is. A key that takes any
// text somewhere shows none: a number in it may be somebody's telephone.
func (r *redactor) shows(key, text string) bool {
	free := slices.ContainsFunc(r.forms[key], func(form string) bool {
		return strings.HasPrefix(form, "text") || strings.Contains(form, "or text") || form == nameValue.form
	}) || r.isFile(key)
	return !free && (plainScalar().MatchString(text) || r.words[text])
}

// isFile reports whether a key's value is the name of a file.
func (r *redactor) isFile(key string) bool {
	return slices.ContainsFunc(r.forms[key], func(form string) bool { return strings.HasPrefix(form, fileValue.form) })
}

// instead returns the word that stands for a text. What kind of file it names stays.
func (r *redactor) instead(key, text string) string {
	if text == "" {
		return ""
	}
	word, ok := r.seen[text]
	if !ok {
		word = fmt.Sprintf("text-%d", len(r.seen)+1)
		if ending := path.Ext(text); r.isFile(key) && shownEnding().MatchString(ending) {
			word += strings.ToLower(ending)
		}
		r.seen[text] = word
	}
	return word
}
