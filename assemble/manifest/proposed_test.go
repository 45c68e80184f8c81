package manifest

import (
	"bytes"
	"strings"
	"testing"
)

// A shot list is added at the end and no other byte changes, whatever the ends of lines;
// a manifest in braces, one that has a list and one that ends its document are refused.
func TestWriteShots(t *testing.T) {
	const takes = "version: 1\ntitle: x\ntempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 8}\n" +
		"takes:\n  - {name: a, section: \"high: one\", expected: true}\n  - {name: b, expected: true}\n"
	list := []Proposed{{From: "start", Show: "card", Text: "title"},
		{From: "m1", Show: "soli", Section: "high: one", Transition: "dissolve", Why: "only this section plays"},
		{From: "m3", Show: "pair", Take: "a", Other: "b"}, {From: "m5", Show: "solo", Take: "b", Around: true}}
	for name, text := range map[string]string{
		"as it is": takes, "no newline": strings.TrimSuffix(takes, "\n"),
		"carriage returns":    strings.ReplaceAll(takes, "\n", "\r\n"),
		"a remark at the end": takes + "# the end", "a block at the end": takes +
			"callsheet:\n  notes: |\n    Sit still.\n",
	} {
		out, err := WriteShots([]byte(text), nil, "change it", list)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		if !bytes.HasPrefix(out, []byte(text)) {
			t.Errorf("%s: what was there changed", name)
		}
		if strings.Contains(text, "\r") != strings.Contains(string(out[len(text):]), "\r") {
			t.Errorf("%s: other ends of lines in %q", name, out[len(text):])
		}
		p, err := Parse("production.yaml", out)
		if err != nil || len(p.Shots) != 4 || p.Shots[1].Section != "high: one" || p.Shots[2].Other != "b" ||
			p.Shots[3].Others != "around" {
			t.Errorf("%s: read back as %v, %v", name, p, err)
		}
	}
	for name, text := range map[string]string{
		"has one": takes + "shots: [{from: m1, show: tutti}]\n", "ends": takes + "...\n",
		"braces": `{"version": 1, "title": "x", "tempo": {"changes": [{"measure": 1, "meter": "4/4", "bpm": 120}], "measures": 8}, ` +
			`"takes": [{"name": "a", "expected": true}]}`,
	} {
		if out, err := WriteShots([]byte(text), nil, "x", list[:1]); err == nil {
			t.Errorf("%s: written as %q", name, out)
		}
	}
}
