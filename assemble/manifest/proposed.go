package manifest

import (
	"bytes"
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
)

// Proposed is a shot to be written into a manifest.
type Proposed struct {
	From, Show, Section, Take, Other, Text string // as the manifest writes them; "" leaves the key out
	Around                                 bool   // others: around
	Transition                             string
	Why                                    string // a remark behind it
}

// WriteShots writes a shot list at the end of the manifest data and changes no other
// byte; it takes p like [Pin]. A manifest that has shots, or is written in a way that
// nothing can be added to, is a fault.
func WriteShots(data []byte, p *production.Production, head string, shots []Proposed) ([]byte, error) {
	where := belongingOf(p)
	if _, err := where.parse(data); err != nil {
		return nil, err
	}
	before, bad := parseYAML(FileName, data, maxBytes)
	if bad != nil {
		return nil, bad
	}
	if key, _ := entryOf(before, "shots"); key != nil {
		return nil, fault.At(fault.Manifest, markOf(where.path, key), hasShots, hasShotsHint)
	}
	src := newSource(data)
	newline, indent := src.newline(0), strings.Repeat(" ", max(0, before.Column-1))
	var b strings.Builder
	b.Write(data)
	if !bytes.HasSuffix(data, []byte("\n")) {
		b.WriteString(newline)
	}
	fmt.Fprintf(&b, "%s%sshots:   # %s%s", newline, indent, head, newline)
	for _, s := range shots {
		b.WriteString(indent + "  - " + s.line() + newline)
	}
	out := []byte(b.String())
	after, bad := parseYAML(FileName, out, maxBytes)
	if bad == nil && before.Style&yaml.FlowStyle == 0 {
		if n := len(after.Content); n >= 2 && after.Content[n-2].Value == "shots" {
			after.Content = after.Content[:n-2]
			if differsOnlyBy(before, after, nil) {
				if _, err := where.parse(out); err != nil {
					return nil, err
				}
				return out, nil
			}
		}
	}
	return nil, fault.New(fault.Manifest, where.path,
		"the manifest is written in a way that no shot list can be added to",
		"write its keys at the left margin, without braces, and no line of three dots at its end")
}

// What is said of a manifest that has shots.
const (
	hasShots     = "the manifest has a shot list already"
	hasShotsHint = "delete it, or put a # before each of its lines, to have another one proposed"
)

// HasShots returns the fault of a production that has a shot list.
func HasShots(p *production.Production) error {
	return fault.At(fault.Manifest, p.Shots[0].Mark, hasShots, hasShotsHint)
}

// line returns the shot as a line of the list, with why it is proposed behind it.
func (s Proposed) line() string {
	pairs := []string{"from: " + s.From, "show: " + s.Show}
	add := func(key, value string) {
		if value != "" {
			pairs = append(pairs, key+": "+value)
		}
	}
	if s.Section != "" {
		add("section", yamlText(s.Section))
	}
	switch {
	case s.Other != "":
		add("takes", "["+yamlText(s.Take)+", "+yamlText(s.Other)+"]")
	case s.Take != "":
		add("take", yamlText(s.Take))
	}
	if s.Around {
		add("others", string(production.OthersAround))
	}
	add("text", s.Text)
	add("transition", s.Transition)
	line := "{" + strings.Join(pairs, ", ") + "}"
	if s.Why != "" {
		line += "   # " + s.Why
	}
	return line
}
