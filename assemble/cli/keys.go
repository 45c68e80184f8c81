package cli

import (
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
)

// keysVerb returns the verb keys. It needs no production: the keys are those of
// the program.
func (a *app) keysVerb() *cobra.Command {
	var thresholds bool
	c := &cobra.Command{
		Use: "keys [WORD]", Short: "list the keys of production.yaml and what they mean", Args: cobra.MaximumNArgs(1),
		Long: `Lists every key that production.yaml can have: what may stand behind it, its
unit, what holds when it is not written, and what it means. With a WORD, only
keys with that word in their place or meaning: ripieno keys pan, ripieno keys
takes[].video. takes[] is an entry of the list takes. A time is seconds of guide
time (12.5), minutes (01:12.500), a measure (m33) or a beat in it (m33.2).

With --thresholds it lists the limits beyond which check reports a take, with the
reason for each. Any of them can be set under check: in production.yaml.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			word := strings.Join(args, "")
			if thresholds {
				return a.showThresholds(word)
			}
			return a.showKeys(word)
		},
	}
	c.Flags().BoolVar(&thresholds, "thresholds", false, "list the thresholds of check with their reasons")
	return c
}

// showKeys prints the keys that have a word in their place or meaning. A word that
// none has is a fault of usage.
func (a *app) showKeys(word string) error {
	keys := slices.DeleteFunc(manifest.Keys(), func(k manifest.Key) bool {
		return !hasWord(word, k.Key, k.Meaning)
	})
	if len(keys) == 0 {
		return fault.New(fault.Manifest, "", fmt.Sprintf("no key has %q in its place or meaning", word),
			"`ripieno keys` lists all keys")
	}
	return a.show(map[string]any{"keys": keys}, keysTable(keys, word))
}

// showThresholds prints the thresholds of check that have a word in their name or
// reason. A word that none has is a fault of usage.
func (a *app) showThresholds(word string) error {
	all := slices.DeleteFunc(manifest.Thresholds(), func(t manifest.Threshold) bool {
		return !hasWord(word, t.Key, t.Reason)
	})
	if len(all) == 0 {
		return fault.New(fault.Manifest, "", fmt.Sprintf("no threshold has %q in its name or reason", word),
			"`ripieno keys --thresholds` lists all thresholds")
	}
	return a.show(map[string]any{"thresholds": all}, func(w io.Writer) {
		fmt.Fprintln(w, "Set any of them in production.yaml, for example check: {soft_ask: -46}.")
		fmt.Fprintln(w)
		table(w, func(row func(...any)) {
			row("threshold", "value", "unit", "reason")
			for _, t := range all {
				row(t.Key, t.Value, t.Unit, wrap(t.Reason, 72)[0])
				for _, more := range wrap(t.Reason, 72)[1:] {
					row("", "", "", more)
				}
			}
		})
	})
}

// hasWord reports whether one of some texts contains a word, whatever its
// capitals. Every text contains the empty word.
func hasWord(word string, texts ...string) bool {
	return slices.ContainsFunc(texts, func(s string) bool {
		return strings.Contains(strings.ToLower(s), strings.ToLower(word))
	})
}

// listedApart are mappings whose keys have a list of their own. They are listed
// here only when somebody asks for them. Together they have more keys than all other
// mappings.
var listedApart = []string{"callsheet.strings.", "check."}

// keysTable lists keys, each mapping under its name.
func keysTable(keys []manifest.Key, word string) func(io.Writer) {
	return func(w io.Writer) {
		groups := map[string][]manifest.Key{}
		var order []string
		for _, k := range keys {
			in := k.Key[:strings.LastIndexByte(k.Key, '.')+1]
			if word == "" && slices.Contains(listedApart, in) {
				continue
			}
			if groups[in] == nil {
				order = append(order, in)
			}
			groups[in] = append(groups[in], k)
		}
		for i, in := range order {
			if i > 0 {
				fmt.Fprintln(w)
			}
			writeColumns(w, mappingTitle(in), "value", "default", "meaning")
			for _, k := range groups[in] {
				value := k.Type
				if k.Unit != "-" {
					value += " (" + k.Unit + ")"
				}
				writeColumns(w, "  "+strings.TrimPrefix(k.Key, in), value, k.Default, k.Meaning)
			}
		}
	}
}

// mappingTitle returns where the keys of a mapping stand.
func mappingTitle(in string) string {
	switch at := strings.TrimSuffix(in, "."); {
	case at == "":
		return "at the margin"
	case strings.HasSuffix(at, "[]"):
		return at + ", each entry"
	default:
		return at
	}
}

// columns are the widths of the table of keys. They are the same for every
// mapping, so that the eye finds a column where it was. Characters; with the spaces
// between them a line has 118, wider than a terminal of 80 but not than a window
// beside an editor.
var columns = []int{18, 30, 18, 46}

// writeColumns writes a row whose cells go on in the next lines where they are
// too long for their column. A first cell that is too long has a line of its own. It
// changes cells.
func writeColumns(w io.Writer, cells ...string) {
	if len([]rune(cells[0])) > columns[0] {
		fmt.Fprintln(w, cells[0])
		cells[0] = ""
	}
	parts := make([][]string, len(cells))
	rows := 0
	for i, c := range cells {
		if parts[i] = wrap(c, columns[i]); i == 0 {
			parts[i] = []string{c} // keeps its indent
		}
		rows = max(rows, len(parts[i]))
	}
	for r := range rows {
		line := ""
		for i, p := range parts {
			cell := ""
			if r < len(p) {
				cell = p[r]
			}
			line += fmt.Sprintf("%-*s  ", columns[i], cell)
		}
		fmt.Fprintln(w, strings.TrimRight(line, " "))
	}
}

// wrap breaks a text into lines of at most width characters, at spaces. A word
// that is longer stays whole.
func wrap(text string, width int) []string {
	var lines []string
	for _, word := range strings.Fields(text) {
		if n := len(lines); n > 0 && len([]rune(lines[n-1]+" "+word)) <= width {
			lines[n-1] += " " + word
			continue
		}
		lines = append(lines, word)
	}
	return lines
}
