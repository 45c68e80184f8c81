package manifest

import (
	"flag"
	"os"
	"strings"
	"testing"

	"ripieno/assemble/fault"
)

var update = flag.Bool("update", false, "write the messages as they are now; read the difference before you keep it")

// TestFaults compares every message of testdata/faults.txt to the letter. The
// file holds cases of a title, a manifest and what the program says about it;
// a manifest that begins with + comes after the shortest good one, so its
// first line is line 4.
func TestFaults(t *testing.T) {
	const path = "testdata/faults.txt"
	var out strings.Builder
	intro, rest, _ := strings.Cut(string(readFile(t, path)), "=== ")
	out.WriteString(intro)
	for _, c := range strings.Split(rest, "\n=== ") {
		title, rest, _ := strings.Cut(c, "\n")
		input, want, ok := strings.Cut(rest, "\n--- says\n")
		if !ok {
			t.Fatalf("case %q has no message", title)
		}
		text, short := strings.CutPrefix(input, "+\n")
		if short {
			text = head + text
		}
		text = strings.NewReplacer("<TAB>", "\t", "<CR>", "\r", "<BEL>", "\a", "<LS>", "\u2028", "<BOM>", "\ufeff",
			"<FF>", "\xff").Replace(text + "\n")
		_, err := Parse("production.yaml", []byte(text))
		got := "nothing"
		if err != nil {
			got = fault.Format(err)
			if fault.KindOf(err) != fault.Manifest {
				t.Errorf("%s: kind %v", title, fault.KindOf(err))
			}
		}
		if got != strings.TrimRight(want, "\n") && !*update {
			t.Errorf("%s\ngot\n%s\nwant\n%s", title, got, want)
		}
		out.WriteString("=== " + title + "\n" + input + "\n--- says\n" + got + "\n\n")
	}
	if *update {
		if err := os.WriteFile(path, []byte(strings.TrimRight(out.String(), "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
}
