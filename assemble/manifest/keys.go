package manifest

import (
	"cmp"

	"ripieno/assemble/intake/limit"
)

// Key is one key of production.yaml, as `ripieno keys` shows it.
type Key struct {
	// Key is where it stands, from the top: "takes[].video.file" is file in
	// video in each entry of takes.
	Key string `json:"key"`
	// Type is what may stand behind it: "number -60 to 24", "true, false".
	Type string `json:"type"`
	// Unit is what a number counts; "-" where there is nothing to count.
	Unit string `json:"unit"`
	// Default is what holds when the key is not written, as a value where it
	// is one; "required" when it must be written.
	Default string `json:"default"`
	Meaning string `json:"meaning"`
}

// Keys returns every key of a manifest, in the order of the file and each
// mapping followed by its own keys.
func Keys() []Key {
	return topShape.under("")
}

// under returns the keys of s whose paths begin with prefix. It ends since no shape
// contains itself.
func (s *shape) under(prefix string) []Key {
	var all []Key
	for _, k := range s.keys {
		path := prefix + k.name
		all = append(all, Key{path, k.value.String(), cmp.Or(k.value.unit, "-"), k.absent, k.meaning})
		switch {
		case k.value.of == nil:
		case k.value.form == listForm:
			all = append(all, k.value.of.under(path+"[].")...)
		default:
			all = append(all, k.value.of.under(path+".")...)
		}
	}
	return all
}

// Threshold is one threshold of check, as `ripieno keys --thresholds` shows it.
type Threshold struct {
	Key    string  `json:"key"` // under check: in the manifest
	Value  float64 `json:"value"`
	Unit   string  `json:"unit"` // "-" for a ratio or a share
	Reason string  `json:"reason"`
}

// Thresholds returns the thresholds of check with their standard values.
func Thresholds() []Threshold {
	var all []Threshold
	for _, t := range limit.Standard().Table() {
		all = append(all, Threshold{t.Name, t.Value, cmp.Or(t.Unit, "-"), t.Why})
	}
	return all
}
