package manifest

import (
	"bytes"
	"strings"
	"testing"

	"ripieno/assemble/fault"
)

// TestApplyStyles shows what a change writes in each style a person may use.
func TestApplyStyles(t *testing.T) {
	gain := []Change{{Take: "a", Keys: []string{"gain"}, Value: "-2.5"}}
	crop := []Change{{Take: "a", Keys: []string{"crop", "zoom"}, Value: "1.3"}}
	none := []Change{{Take: "a", Keys: []string{"gain"}}}
	for _, c := range []struct {
		name, before, after string
		changes             []Change
	}{
		{"exchanged in braces", "- {name: a, expected: true, gain: 1.25} # mine\n",
			"- {name: a, expected: true, gain: -2.5} # mine\n", gain},
		{"exchanged in lines", "- name: a\n  gain: 1   # soft\n  expected: true\n",
			"- name: a\n  gain: -2.5   # soft\n  expected: true\n", gain},
		{"added in braces", "- {name: a, expected: true} # mine\n",
			"- {name: a, expected: true, gain: -2.5} # mine\n", gain},
		{"added in lines", "- name: a\n  expected: true # later\n\n# end\n",
			"- name: a\n  expected: true # later\n  gain: -2.5\n\n# end\n", gain},
		{"added in the style of JSON", "- {\"name\": \"a\", \"expected\": true}\n",
			"- {\"name\": \"a\", \"expected\": true, \"gain\": -2.5}\n", gain},
		{"added behind braces over lines", "- name: a\n  video: {\n    file: a.mov, # it's\n    rotate: 90\n  } # x\n",
			"- name: a\n  gain: -2.5\n  video: {\n    file: a.mov, # it's\n    rotate: 90\n  } # x\n", gain},
		{"added without a last break", "- name: a\n  expected: true", "- name: a\n  expected: true\n  gain: -2.5",
			gain},
		{"lines of Windows", "- name: a\r\n  expected: true\r\n",
			"- name: a\r\n  expected: true\r\n  gain: -2.5\r\n", gain},
		{"inside braces", "- {name: a, expected: true, crop: {x: 0.5, zoom: 2}}\n",
			"- {name: a, expected: true, crop: {x: 0.5, zoom: 1.3}}\n", crop},
		{"inside lines", "- name: a\n  expected: true\n  crop:\n    x: 0.5\n",
			"- name: a\n  expected: true\n  crop:\n    x: 0.5\n    zoom: 1.3\n", crop},
		{"in place of a word", "- {name: a, crop: auto, expected: true}\n",
			"- {name: a, crop: {zoom: 1.3}, expected: true}\n", crop},
		{"a mapping that was missing", "- {name: a, expected: true}\n",
			"- {name: a, expected: true, crop: {zoom: 1.3}}\n", crop},
		{"taken out of braces", "- {name: a, gain: 3, expected: true}\n", "- {name: a, expected: true}\n", none},
		{"taken out of the end", "- {name: a, expected: true , gain: 3}\n", "- {name: a, expected: true }\n", none},
		{"taken out of the front", "- {gain: 3, name: a, expected: true}\n", "- {name: a, expected: true}\n", none},
		{"a line taken out", "- name: a\n  gain: 3\n  expected: true\n", "- name: a\n  expected: true\n", none},
		{"its remark stays", "- name: a\n  gain: 3 # who?\n  expected: true\n",
			"- name: a\n  # who?\n  expected: true\n", none},
		{"the last line taken out", "- name: a\n  expected: true\n  gain: 3", "- name: a\n  expected: true", none},
		{"nothing to take out", "- name: a\n  expected: true\n", "- name: a\n  expected: true\n", none},
		{"the same value", "- {name: a, gain: -2.5, expected: true}\n", "- {name: a, gain: -2.5, expected: true}\n",
			gain},
	} {
		t.Run(c.name, func(t *testing.T) {
			got, err := Apply([]byte(pinHead+c.before), nil, c.changes)
			if err != nil {
				t.Fatal(err)
			}
			if want := pinHead + c.after; string(got) != want {
				t.Errorf("got\n%s\nwant\n%s", got[len(pinHead):], c.after)
			}
		})
	}
}

// TestApplyLists: shots are exchanged, added behind the last and taken away.
func TestApplyLists(t *testing.T) {
	const takes = "takes:\n- {name: a, expected: true}\n"
	at := func(keys ...string) []string { return keys }
	for _, c := range []struct {
		name, before, after string
		change              Change
	}{
		{"a value of an entry", "shots:\n- {from: m1, show: tutti} # all\n",
			"shots:\n- {from: m2, show: tutti} # all\n",
			Change{Keys: at("shots", "0", "from"), Value: "m2"}},
		{"an entry behind", "shots:\n  - {from: m1, show: tutti} # all\n# end\n",
			"shots:\n  - {from: m1, show: tutti} # all\n  - {from: m2, show: solo, take: a}\n# end\n",
			Change{Keys: at("shots", "1"), Value: "{from: m2, show: solo, take: a}"}},
		{"an entry behind in braces", "shots: [{from: m1, show: tutti}]\n",
			"shots: [{from: m1, show: tutti}, {from: m2, show: solo, take: a}]\n",
			Change{Keys: at("shots", "1"), Value: "{from: m2, show: solo, take: a}"}},
		{"an entry between", "shots:\n  - {from: m1, show: tutti} # all\n  # then\n  - {from: m3, show: tutti}\n",
			"shots:\n  - {from: m1, show: tutti} # all\n  - {from: m2, show: solo, take: a}\n  # then\n " +
				" - {from: m3, show: tutti}\n",
			Change{Keys: at("shots", "+1"), Value: "{from: m2, show: solo, take: a}"}},
		{"an entry between in braces", "shots: [{from: m1, show: tutti}, {from: m3, show: tutti}]\n",
			"shots: [{from: m1, show: tutti}, {from: m2, show: solo, take: a}, {from: m3, show: tutti}]\n",
			Change{Keys: at("shots", "+1"), Value: "{from: m2, show: solo, take: a}"}},
		{"an entry away", "shots:\n  - {from: m1, show: tutti}\n  - {from: m2, show: tutti}\n",
			"shots:\n  - {from: m1, show: tutti}\n", Change{Keys: at("shots", "1")}},
		{"a list that was missing", "", "shots: [{from: m1, show: tutti}]\n",
			Change{Keys: at("shots"), Value: "[{from: m1, show: tutti}]"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			before := head + "takes: [{name: a, expected: true}]\n" + c.before
			if c.before != "" {
				before = head + takes + c.before
			}
			got, err := Apply([]byte(before), nil, []Change{c.change})
			if err != nil {
				t.Fatal(err)
			}
			if !strings.HasSuffix(string(got), c.after) || len(got) != len(before)-len(c.before)+len(c.after) {
				t.Errorf("got\n%s\nwant it to end in\n%s", got, c.after)
			}
		})
	}
}

// TestApplyRefuses: what cannot be said, or not without touching more, changes nothing.
func TestApplyRefuses(t *testing.T) {
	const lines = "- name: a\n  expected: true\n  mutes:\n  - from: m1\n    to: m2\n"
	for _, c := range []struct {
		name, takes, says string
		change            Change
	}{
		{"a value out of range", lines, "gain", Change{Take: "a", Keys: []string{"gain"}, Value: "500"}},
		{"a key that is none", lines, "unknown key", Change{Take: "a", Keys: []string{"loud"}, Value: "5"}},
		{"a take that is not there", lines, "no such take", Change{Take: "b", Keys: []string{"gain"}, Value: "5"}},
		{"two values", lines, "is no value", Change{Take: "a", Keys: []string{"gain"}, Value: "5\nmute: true"}},
		{"a remark", lines, "is no value", Change{Take: "a", Keys: []string{"gain"}, Value: "5 # louder"}},
		{"the end of the braces", "- {name: a, expected: true}\n", "is no value",
			Change{Take: "a", Keys: []string{"gain"}, Value: "5}, {name: b, expected: true"}},
		{"lines of a list", lines, "several lines", Change{Take: "a", Keys: []string{"mutes"}, Value: "[]"}},
		{"a file outside", lines, "", Change{Take: "a", Keys: []string{"video"}, Value: "{file: ../a.mov}"}},
		{"what everything needs", lines, "title", Change{Keys: []string{"title"}}},
		{"no key", lines, "no key", Change{Take: "a", Value: "5"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			data := []byte(pinHead + c.takes)
			got, err := Apply(data, nil, []Change{c.change})
			if err == nil || got != nil || fault.KindOf(err) != fault.Manifest ||
				!strings.Contains(err.Error(), c.says) {
				t.Errorf("got %q, %v", got, err)
			}
		})
	}
}

// FuzzApply: whatever is given as a value, the result reads back, or nothing is
// changed; and what was not named stays byte for byte.
func FuzzApply(f *testing.F) {
	for _, v := range []string{"-2.5", "{x: 1}", "'a'", "\"\\n\"", "5 # x", "}", "]", "*a", "", "[1, 2]", "a: b",
		"#", "'"} {
		f.Add("gain", v)
		f.Add("player", v)
	}
	const takes = "- {name: a, expected: true} # it's {one\n- name: b\n  player: \"x } y\"\n  expected: true\n# end\n"
	f.Fuzz(func(t *testing.T, key, value string) {
		data := []byte(pinHead + takes)
		for _, take := range []string{"a", "b"} {
			got, err := Apply(data, nil, []Change{{Take: take, Keys: []string{key}, Value: value}})
			if err != nil {
				continue
			}
			if _, err := Parse(FileName, got); err != nil {
				t.Errorf("%q: %q does not read: %v", key, value, err)
			}
			other := "- {name: a, expected: true} # it's {one\n"
			if take == "a" {
				other = "- name: b\n  player: \"x } y\"\n  expected: true\n# end\n"
			}
			if !bytes.Contains(got, []byte(other)) {
				t.Errorf("%q: %q in take %s changed the other one:\n%s", key, value, take, got)
			}
		}
	})
}
