package takes

import (
	"fmt"
	"strconv"
	"strings"

	"ripieno/layout/card"
)

// describeSync writes a drawing down for its key. The words are those by which
// drawings have always been kept, whatever the fields are called by now:
// changing one draws every picture again.
func describeSync(o card.SyncOptions) string {
	fonts := "<nil>"
	if o.Fonts != nil {
		// By their address: a drawing with fonts of its own is made in every run. Sync
		// has none.
		fonts = fmt.Sprintf("%p", o.Fonts)
	}
	return "{Title:" + o.Title + " Summary:" + o.Summary + " Windows:" + listed(o.Windows, describeWindow) +
		" Rows:" + listed(o.Rows, describeRow) + " Width:" + strconv.Itoa(o.Width) + " Fonts:" + fonts + "}"
}

// describeWindow returns a window as the key of a drawing has it.
func describeWindow(w card.SyncWindow) string {
	return "{Title:" + w.Title + " From:" + number(w.From) + " To:" + number(w.To) + " Lines:" + listed(w.Lines,
		func(l card.SyncLine) string {
			return "{At:" + number(l.At) + " Text:" + l.Text + " Bold:" + strconv.FormatBool(l.Bold) + "}"
		}) + "}"
}

// describeRow returns a row as the key of a drawing has it.
func describeRow(r card.SyncRow) string {
	return "{Name:" + r.Name + " Player:" + r.Player + " Says:" + r.Says + " More:" + r.More + " State:" +
		strconv.Itoa(int(r.State)) +
		" Note:" + r.Note + " Traces:" + listed(r.Traces, describeTrace) +
		optional(" Rivals:", strings.Join(r.Rivals, " | ")) + "}"
}

// describeTrace returns a trace as the key of a drawing has it.
func describeTrace(t card.SyncTrace) string {
	level := func(v uint8) string { return strconv.Itoa(int(v)) }
	return "{Hill:" + listed(t.Hill, level) + " Other:" + listed(t.Other, level) + " Onsets:" + listed(t.Onsets,
		func(o card.SyncOnset) string {
			return "{At:" + number(o.At) + " Strength:" + number(o.Strength) + "}"
		}) + " Cue:" + number(t.Cue) +
		optional(" Rivals:", strings.Join(numbers(t.Rivals), " ")) + "}"
}

// optional returns a field that drawings without it do not name, so that their key stays
// what it was.
func optional(name, text string) string {
	if text == "" {
		return ""
	}
	return name + text
}

// numbers returns numbers as texts, in their order.
func numbers(list []float64) []string {
	var words []string
	for _, x := range list {
		words = append(words, number(x))
	}
	return words
}

// number returns the shortest text that reads back to the same number.
func number(x float64) string { return fmt.Sprint(x) }

// listed writes the elements of a list with spaces between them.
func listed[T any](list []T, describe func(T) string) string {
	words := make([]string, len(list))
	for i, x := range list {
		words[i] = describe(x)
	}
	return "[" + strings.Join(words, " ") + "]"
}
