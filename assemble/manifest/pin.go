package manifest

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/mix/audio"
)

// Pinned is a measured value that a person wants to keep: the offset and
// drift of one file of a take, in seconds and ppm as in [production.File].
type Pinned struct {
	Take             string
	Role             production.Role
	Offset, DriftPPM float64
	// What sync found about the file itself, as in [production.File]; zero for a whole one.
	Parts        audio.Parts
	PartsOfSound bool
	SampleRate   int
}

// Pin writes values into the manifest data, behind the file name of the
// recording they belong to, and changes no other byte: comments, quotes,
// line ends and order stay as the person left them. The result reads back
// with exactly these values, and pinning it again changes nothing.
//
// A recording that has an offset or cue_at keeps it, and one that has a
// drift_ppm keeps that and gets the offset. p is the production that was read
// from data and serves for the path in faults and to find a score; it may be nil.
//
// A manifest that Parse would refuse is refused with the same faults. A take
// or recording that is not there, the same recording twice, or a number out
// of a manifest's range is an error of the caller.
func Pin(data []byte, p *production.Production, values []Pinned) ([]byte, error) {
	where := belongingOf(p)
	if _, err := where.parse(data); err != nil {
		return nil, err
	}
	if err := checkPinned(values); err != nil {
		return nil, err
	}
	// The nodes are found anew in every reading, since each addition is tried on a
	// text of its own.
	adds := make([]addition, len(values))
	for i, v := range values {
		root, bad := parseYAML(FileName, data, maxBytes)
		if bad != nil || recordingNode(root, v.Take, string(v.Role)) == nil {
			return nil, fmt.Errorf("manifest: pin: there is no %s of a take %q", v.Role, v.Take)
		}
		adds[i] = addition{
			in:     func(root *yaml.Node) *yaml.Node { return recordingNode(root, v.Take, string(v.Role)) },
			anchor: "file",
			pairs:  v.pairs,
		}
	}
	pinned, failed, err := addAll(data, adds)
	if failed >= 0 {
		v := values[failed]
		return nil, fault.New(fault.Manifest, where.path,
			fmt.Sprintf("the %s of take %q is written in a way that nothing can be added to", v.Role, v.Take),
			fmt.Sprintf("write it as %s: {file: ...}", v.Role))
	}
	return pinned, err
}

// pairs returns what a recording does not say yet of v. One with a place of its own
// gets nothing: drift and parts belong to the place that was measured.
func (v Pinned) pairs(file *yaml.Node) []pair {
	if valueOf(file, "offset") != nil || valueOf(file, "cue_at") != nil {
		return nil
	}
	// + 0 makes -0 0
	return append([]pair{{"offset", decimal(v.Offset + 0)}},
		missingPairs(file, append([]pair{{"drift_ppm", decimal(v.DriftPPM + 0)}}, v.ofTheFile()...)...)...)
}

// checkPinned refuses values that a manifest could not hold: a caller's bug.
func checkPinned(values []Pinned) error {
	seen := map[[2]string]bool{}
	for _, v := range values {
		key := [2]string{v.Take, string(v.Role)}
		switch {
		case !slices.Contains(production.Roles, v.Role):
			return fmt.Errorf("manifest: pin take %q: role %q", v.Take, v.Role)
		case seen[key]:
			return fmt.Errorf("manifest: pin the %s of take %q twice", v.Role, v.Take)
		case !(math.Abs(v.Offset) <= maxSeconds) || !(math.Abs(v.DriftPPM) <= maxDriftPPM):
			return fmt.Errorf("manifest: pin take %q: offset %v s, drift %v ppm", v.Take, v.Offset, v.DriftPPM)
		}
		seen[key] = true
	}
	return nil
}

// pair is a key to be written and its value.
type pair struct{ key, value string }

// edit is bytes to be put into a file. at is a byte of the file as it was before any
// edit.
type edit struct {
	at   int
	text string
}

// addition is pairs to be written into one mapping of the manifest.
type addition struct {
	in     func(root *yaml.Node) *yaml.Node // the mapping, which is there
	anchor string                           // the key whose neighbours they become
	before bool                             // they come before it, not behind its value
	pairs  func(m *yaml.Node) []pair        // those that the mapping lacks
}

// placer finds where and how to write pairs into a mapping; ok is false when
// it cannot.
type placer func(src *source, m *yaml.Node, anchor string, pairs []pair) (e edit, ok bool)

// addAll makes all additions, at once and beside their anchors, which is where
// they read best; if that does not come out right, one by one wherever it
// does. failed is the first that cannot be made at all, -1 for none. It is quadratic
// in the number of additions only when the first attempt fails.
func addAll(data []byte, adds []addition) (out []byte, failed int, err error) {
	if out, err = addSome(data, adds, false); err != nil || out != nil {
		return out, -1, err
	}
	for i := range adds {
		next, err := addSome(data, adds[i:i+1], false)
		if next == nil && err == nil {
			next, err = addSome(data, adds[i:i+1], true)
		}
		if err != nil {
			return nil, -1, err
		}
		if next == nil {
			return nil, i, nil
		}
		data = next
	}
	return data, -1, nil
}

// addSome makes additions beside their anchors, or at the beginnings of their
// mappings. It gives nil without an error when the result does not read back
// as it should.
func addSome(data []byte, adds []addition, first bool) ([]byte, error) {
	before, bad := parseYAML(FileName, data, maxBytes)
	if bad != nil {
		return nil, bad
	}
	src := newSource(data)
	var edits []edit
	added := map[*yaml.Node][]pair{}
	for _, a := range adds {
		m := a.in(before)
		pairs := a.pairs(m)
		if len(pairs) == 0 {
			continue
		}
		var place placer = behindValue
		switch {
		case first:
			place = atBeginning
		case a.before:
			place = beforeKey
		}
		e, ok := place(src, m, a.anchor, pairs)
		if !ok {
			return nil, nil
		}
		edits = append(edits, e)
		added[m] = pairs
	}
	after := apply(data, edits)
	again, bad := parseYAML(FileName, after, maxBytes)
	if bad != nil || !differsOnlyBy(before, again, added) {
		return nil, nil
	}
	return after, nil
}

// apply makes the edits in a copy of data. It sorts edits. Two at one byte would come
// in an order that is not defined; the callers make none.
func apply(data []byte, edits []edit) []byte {
	slices.SortFunc(edits, func(a, b edit) int { return a.at - b.at })
	var out []byte
	from := 0
	for _, e := range edits {
		out = append(out, data[from:e.at]...)
		out = append(out, e.text...)
		from = e.at
	}
	return append(out, data[from:]...)
}

// differsOnlyBy reports whether after is before with the added pairs and nothing
// else. Comments and places do not count; whether a value is in quotes does, since a
// text must not become a number.
func differsOnlyBy(before, after *yaml.Node, added map[*yaml.Node][]pair) bool {
	if before.Kind != after.Kind || before.Tag != after.Tag || before.Value != after.Value ||
		before.Style != after.Style {
		return false
	}
	rest := slices.Clone(after.Content)
	for _, p := range added[before] {
		i := slices.IndexFunc(rest, func(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode && n.Value == p.key })
		if i < 0 || i%2 != 0 || !readsAs(rest[i+1], p.value) {
			return false
		}
		rest = slices.Delete(rest, i, i+2)
	}
	if len(rest) != len(before.Content) {
		return false
	}
	for i, n := range before.Content {
		if !differsOnlyBy(n, rest[i], added) {
			return false
		}
	}
	return true
}

// recordingNode returns the mapping of one recording; nil when there is none.
func recordingNode(root *yaml.Node, take, role string) *yaml.Node {
	if t := takeNode(root, take); t != nil {
		return valueOf(t, role)
	}
	return nil
}

// valueOf returns the value behind a key of a mapping; nil when there is none.
func valueOf(n *yaml.Node, key string) *yaml.Node {
	_, v := entryOf(n, key)
	return v
}

// entryOf returns the key and the value of an entry of a mapping, nil for one that
// is not there.
func entryOf(n *yaml.Node, key string) (k, v *yaml.Node) {
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == key {
			return n.Content[i], n.Content[i+1]
		}
	}
	return nil, nil
}

// behindValue writes behind the value of a key: on its line in braces, else on
// lines of their own below it.
func behindValue(src *source, m *yaml.Node, anchor string, pairs []pair) (edit, bool) {
	key, value := entryOf(m, anchor)
	begin, end, ok := src.scalar(value, m.Style&yaml.FlowStyle != 0)
	if !ok {
		return edit{}, false
	}
	if m.Style&yaml.FlowStyle != 0 {
		quote := quoteOf(src, key)
		text := ""
		for _, p := range pairs {
			text += ", " + quote + p.key + quote + ": " + p.value
		}
		return edit{end, text}, true
	}
	lead := src.before(src.offset(key)) // "- " before the first key of a list's entry
	if strings.Trim(lead, " -") != "" { // "? file", or something stranger
		return edit{}, false
	}
	indent := strings.Repeat(" ", len(lead))
	newline := src.newline(begin)
	text := ""
	for _, p := range pairs {
		text += newline + indent + p.key + ": " + p.value
	}
	return edit{src.lineEnd(end), text}, true
}

// quoteOf returns the quotes of a key: a mapping in the style of JSON stays in that
// style.
func quoteOf(src *source, key *yaml.Node) string {
	if key.Style&(yaml.DoubleQuotedStyle|yaml.SingleQuotedStyle) == 0 {
		return ""
	}
	return string(src.data[src.offset(key)])
}

// atBeginning writes before the first key. It needs not know where any value
// ends. Keys are then written without quotes, also in a file in the style of JSON,
// which YAML allows.
func atBeginning(src *source, m *yaml.Node, _ string, pairs []pair) (edit, bool) {
	at := src.offset(m)
	text := ""
	if m.Style&yaml.FlowStyle != 0 {
		for _, p := range pairs {
			text += p.key + ": " + p.value + ", "
		}
		return edit{at + 1, text}, true // behind the brace
	}
	newline := src.newline(at)
	for _, p := range pairs {
		text += p.key + ": " + p.value + newline + strings.Repeat(" ", m.Column-1)
	}
	return edit{at, text}, true
}
