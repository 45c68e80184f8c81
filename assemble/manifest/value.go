package manifest

import (
	"ripieno/assemble/production"
	"strings"
)

// value is what may stand behind a key. The zero value is one that the schema says
// nothing about; records of the program's own use it where a reader checks by itself.
type value struct {
	form   string  // as `ripieno keys` calls it
	lo, hi float64 // the range of a number, both ends included
	unit   string  // "" for what has none
	words  []string
	of     *shape // of a mapping, and of the entries of a list
}

// The forms of values that other code knows.
const (
	rangeForm = "number"
	wholeForm = "whole number"
	wordForm  = "word" // one of some words
	listForm  = "list"
)

// The values that several keys have. Numbers, mappings and texts may have words
// beside them that stand for a value of their own, such as auto.
var (
	textValue  = value{form: "text"}
	linesValue = value{form: "text of several lines"}
	nameValue  = value{form: "name"}
	fileValue  = value{form: "file"}
	flagValue  = oneOf("true", "false")
	timeValue  = value{form: "time", unit: "guide time"}
	gainValue  = number(minGainDB, maxGainDB, "dB")
	levelValue = number(minGainDB, maxLevelDB, "dB").orWords("off")
	fadeValue  = number(0, maxFade, "seconds")
	edgeValue  = number(0, maxEdge, "seconds")
	// aspectValue is the shape of tiles; see [mapping.aspect].
	aspectValue = value{form: "ratio, range of ratios", unit: "width:height", words: []string{"auto"}}
	sideValue   = number(-100, 100, "-100 left, 100 right")
)

// number returns a number within a range.
func number(lo, hi float64, unit string) value {
	return value{form: rangeForm, lo: lo, hi: hi, unit: unit}
}

// whole returns a whole number within a range.
func whole(lo, hi float64, unit string) value {
	return value{form: wholeForm, lo: lo, hi: hi, unit: unit}
}

// oneOf returns a choice of words.
func oneOf(words ...string) value { return value{form: wordForm, words: words} }

// among returns a choice of a closed set of words. The words come from the type, so
// that the schema cannot have others than the program knows.
func among[W ~string](set production.Words[W]) value { return oneOf(set.Strings()...) }

// mappingOf returns a mapping with the keys of s.
func mappingOf(s *shape) value { return value{form: "mapping", of: s} }

// listOf returns a list of such mappings. An entry that is no mapping is a fault;
// lists of plain values have forms of their own.
func listOf(s *shape) value { return value{form: listForm, of: s} }

// withUnit returns v with another unit.
func (v value) withUnit(unit string) value { v.unit = unit; return v }

// orWords returns v, beside which some words may stand.
func (v value) orWords(w ...string) value { v.words = w; return v }

// withForm returns v under another name.
func (v value) withForm(form string) value { v.form = form; return v }

// String returns the type of a value as people read it.
func (v value) String() string {
	s := v.form
	switch v.form {
	case rangeForm, wholeForm:
		s += " " + decimal(v.lo) + " to " + decimal(v.hi)
	case wordForm:
		return strings.Join(v.words, ", ")
	}
	if len(v.words) > 0 {
		s += " or " + strings.Join(v.words, ", ")
	}
	return s
}

// span returns what a number may be, for hints: "a number from 0 to 2 dB, or none".
func (v value) span() string {
	s := "a " + v.form + " from " + decimal(v.lo) + " to " + decimal(v.hi)
	switch {
	case v.form == wholeForm: // the key says of what
	// "-100 left, 100 right" is no word that can follow a number.
	case strings.ContainsAny(v.unit, ",0123456789"): // the unit explains the scale
		s += " (" + v.unit + ")"
	case v.unit != "":
		s += " " + v.unit
	}
	if len(v.words) > 0 {
		s += ", or " + strings.Join(v.words, " or ")
	}
	return s
}
