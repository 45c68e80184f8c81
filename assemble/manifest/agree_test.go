package manifest

import (
	"strings"
	"testing"
)

// TestAgree: what a change is about is told from all the rest.
func TestAgree(t *testing.T) {
	const before = `version: 1
tempo: {changes: [{measure: 1, meter: 4/4, bpm: 90}], measures: 8}
sections: [{name: winds, gain: 1}, {name: strings}]
takes:
  - {name: oboe, gain: 1, crop: middle, video: {file: a.mov, offset: 1}}   # on Monday
  - name: horn
    audio: {file: b.wav}
shots: [{from: start, show: tutti}, {from: m3, show: solo, take: oboe}]
`
	take := func(name string, keys ...string) []Change { return []Change{{Take: name, Keys: keys, Value: "2"}} }
	top := func(keys ...string) []Change { return take("", keys...) }
	for _, c := range []struct {
		old, with string
		changes   []Change
		want      bool
	}{
		{"# on Monday", "# on Tuesday", take("oboe", "gain"), true},
		{"gain: 1, crop", `"gain": 1, crop`, take("oboe", "gain"), true},
		{"gain: 1, crop", "gain: 3, crop", take("oboe", "gain"), false},
		{"gain: 1, crop", "crop", take("oboe", "gain"), false},
		{"gain: 1, crop", "gain: 3, crop", take("oboe", "pan"), true},
		{"gain: 1, crop", "gain: 3, crop", take("horn", "gain"), true},
		{"b.wav}", "b.wav}\n    gain: 1", take("horn", "gain"), false},
		{"name: horn", "name: tuba", take("horn", "gain"), false},
		{"offset: 1}", "offset: 2}", take("oboe", "video", "offset"), false},
		{"offset: 1}", "offset: 2}", take("oboe", "video", "drift_ppm"), true},
		{"offset: 1}", "offset: 2}", take("oboe", "audio", "offset"), true},
		{"crop: middle", "crop: {x: 0.4}", take("oboe", "crop", "x"), false},
		{"crop: middle", "crop: {x: 0.4}", take("oboe", "seat"), true},
		{"{name: strings}", "{name: strings, gain: 2}", top("sections", "1", "gain"), false},
		{"{name: strings}", "{name: strings, gain: 2}", top("sections", "0", "gain"), true},
		{"[{name: winds,", "[{name: brass}, {name: winds,", top("sections", "0", "gain"), false},
		{"show: tutti}", "show: tutti, to: m2}", top("shots", "1", "from"), true},
		{"show: tutti}", "show: tutti, to: m2}", top("shots", "1"), false},
		{"show: tutti}", "show: tutti, to: m2}", top("shots", "+1"), false},
		{"show: tutti}", "show: tutti, to: m2}", top("shots"), false},
		{"takes:", "takes: [", take("oboe", "pan"), false},
	} {
		if strings.Count(before, c.old) != 1 {
			t.Fatalf("%q stands %d times", c.old, strings.Count(before, c.old))
		}
		after := strings.Replace(before, c.old, c.with, 1)
		if got := Agree([]byte(before), []byte(after), c.changes); got != c.want {
			t.Errorf("%q and %q agree on %v: %v", c.old, c.with, c.changes[0], got)
		}
	}
}
