package manifest

import (
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"testing"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/fault"
)

// TestEveryKeyIsExplained holds what `ripieno keys` prints whole: a key without
// a type, unit, default or meaning is one that nobody can look up.
func TestEveryKeyIsExplained(t *testing.T) {
	seen := map[string]bool{}
	for _, k := range Keys() {
		if k.Type == "" || k.Unit == "" || k.Default == "" || k.Meaning == "" {
			t.Errorf("%s: type %q, unit %q, default %q, meaning %q", k.Key, k.Type, k.Unit, k.Default, k.Meaning)
		}
		number := strings.HasPrefix(k.Type, rangeForm) || strings.HasPrefix(k.Type, wholeForm)
		if number && k.Unit == "-" && !strings.HasPrefix(k.Key, "check.") { // some thresholds are ratios
			t.Errorf("%s is a number without a unit", k.Key)
		}
		if seen[k.Key] {
			t.Errorf("%s is there twice", k.Key)
		}
		seen[k.Key] = true
	}
	if len(seen) < 250 {
		t.Errorf("only %d keys", len(seen))
	}
	for _, th := range Thresholds() {
		if th.Unit == "" || th.Reason == "" || !seen["check."+th.Key] {
			t.Errorf("threshold %q has unit %q, reason %q, a key: %v", th.Key, th.Unit, th.Reason,
				seen["check."+th.Key])
		}
	}
}

// TestKeysAndTheExample holds the example and the schema against each other,
// each key in its place.
func TestKeysAndTheExample(t *testing.T) {
	data, err := os.ReadFile(filepath.Join("..", "..", "examples", "every-key", FileName))
	if err != nil {
		t.Fatal(err)
	}
	var root yaml.Node
	if err := yaml.Unmarshal(data, &root); err != nil {
		t.Fatal(err)
	}
	shown := map[string]bool{}
	paths(root.Content[0], "", shown)
	known := map[string]bool{}
	for _, k := range Keys() {
		known[k.Key] = true
		last := k.Key[strings.LastIndexByte(k.Key, '.')+1:]
		many := strings.HasPrefix(k.Key, "check.") || strings.HasPrefix(k.Key, "callsheet.strings.")
		// Keys of the same mapping in two places are shown in one of them.
		twice := strings.HasPrefix(k.Key, "guide.variants[].") || k.Key == "guide.levels.mix" ||
			k.Key == "takes[].audio.cue_at" || k.Key == "guide.conductor.offset" ||
			k.Key == "takes[].video.offset" || k.Key == "takes[].video.drift_ppm"
		if !shown[k.Key] && !alternatives[last] && !many && !twice {
			t.Errorf("the example does not show %s", k.Key)
		}
	}
	for path := range shown {
		if !known[path] {
			t.Errorf("the example has %s, which the schema has not", path)
		}
	}
}

// paths collects the paths of a node's keys, as Key.Key has them.
func paths(n *yaml.Node, prefix string, to map[string]bool) {
	switch n.Kind {
	case yaml.MappingNode:
		for i := 0; i < len(n.Content); i += 2 {
			path := prefix + n.Content[i].Value
			to[path] = true
			sub := path + "."
			if n.Content[i+1].Kind == yaml.SequenceNode {
				sub = path + "[]."
			}
			paths(n.Content[i+1], sub, to)
		}
	case yaml.SequenceNode:
		for _, c := range n.Content {
			paths(c, prefix, to)
		}
	}
}

// places are manifests in which a mapping of the schema can be written, with
// %s where a key of it goes.
var places = map[string]string{
	"":               head + "%s",
	"guide.":         head + "guide: {%s}",
	"guide.levels.":  head + "guide: {levels: {%s}}",
	"guide.drone[].": head + "guide: {drone: [{measure: 1, note: D3, %s}]}",
	"sections[].":    head + "sections: [{name: winds, %s}]",
	"takes[].":       head + "takes: [{name: a, expected: true, %s}]",
	"takes[].crop.":  head + "takes: [{name: a, expected: true, crop: {%s}}]",
	"takes[].eq[].":  head + "takes: [{name: a, expected: true, eq: [{shape: bell, hz: 900, gain: 1, %s}]}]",
	"mix.":           head + "mix: {%s}",
	"mix.hall.":      head + "mix: {room: 0.1, hall: {%s}}",
	"picture.":       head + "picture: {%s}",
	"shots[].":       head + "shots: [{from: start, show: tutti, %s}]",
	"deliver[].":     head + "deliver: [{name: final, canvas: 1920x1080, %s}]",
	"callsheet.":     head + "callsheet: {%s}",
	"tempo.": "version: 1\ntitle: T\ntempo: {changes: [{measure: 1, meter: 4/4, bpm: 96}], " +
		"measures: 4, %s}\n",
	"tempo.count_in.cue.": "version: 1\ntitle: T\ntempo: {changes: [{measure: 1, meter: 4/4, bpm: 96}], measures: 4, " +
		"count_in: {measures: 8, cue: {measure: 5, %s}}}\n",
	"takes[].compress.": head + "takes: [{name: a, expected: true, compress: {threshold: -20, ratio: 2, %s}}]",
}

// otherwise are defaults that are kept as an absence, which readers fill in:
// the mix where it is made (a width of 1, a compressor's knee, attack and
// release, a band's q) and the guide (a click a beat).
var otherwise = []string{"guide.subdivisions", "takes[].width", "takes[].compress.knee", "takes[].compress.attack",
	"takes[].compress.release", "takes[].eq[].q"}

// TestDefaultsHold writes every default that is a value into a manifest and
// finds the same production: what `ripieno keys` calls the default is it.
func TestDefaultsHold(t *testing.T) {
	checked := 0
	for _, k := range Keys() {
		cut := strings.LastIndexByte(k.Key, '.') + 1
		place, last := places[k.Key[:cut]], k.Key[cut:]
		value := k.Default
		if place == "" || !literal(k) || slices.Contains(otherwise, k.Key) || strings.HasPrefix(k.Key, "check.") {
			continue
		}
		if strings.HasPrefix(value, "#") {
			value = `"` + value + `"`
		}
		if k.Key == "takes[].expected" || k.Key == "shots[].others" || k.Key == "shots[].roll" {
			continue // the mapping beside it says otherwise, or may not have it
		}
		with, err := Parse("production.yaml", []byte(strings.Replace(place, "%s", last+": "+value, 1)))
		if err != nil {
			t.Errorf("%s: %v", k.Key, fault.Format(err))
			continue
		}
		without, err := Parse("production.yaml", []byte(strings.Replace(place, "%s", "", 1)))
		if err != nil {
			t.Fatal(k.Key, fault.Format(err))
		}
		unmark(reflect.ValueOf(with))
		unmark(reflect.ValueOf(without))
		if !reflect.DeepEqual(with, without) {
			t.Errorf("%s is said to be %s when it is not written, and is not:\n%+v\n%+v", k.Key, value, with, without)
		}
		checked++
	}
	if checked < 50 {
		t.Errorf("only %d defaults were held against the reader", checked)
	}
}

// literal reports whether a default is a value that could be written.
func literal(k Key) bool {
	if k.Default == required || k.Default == "none" && k.Key != "guide.drone[].note" {
		return false
	}
	return numberForm().MatchString(k.Default) || slices.Contains(strings.Split(k.Type, ", "), k.Default) ||
		strings.HasSuffix(k.Type, "or "+k.Default) || strings.HasPrefix(k.Default, "#") ||
		aspectForm().MatchString(k.Default)
}

// unmark clears every place in a file below v: a key that is written moves
// what comes after it.
func unmark(v reflect.Value) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			unmark(v.Elem())
		}
	case reflect.Slice:
		for i := range v.Len() {
			unmark(v.Index(i))
		}
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[fault.Mark]() && v.CanSet() {
			v.SetZero()
			return
		}
		for i := range v.NumField() {
			if v.Field(i).CanSet() {
				unmark(v.Field(i))
			}
		}
	}
}
