package roll

import (
	"errors"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/takes"
)

// Sync says of each take what there is to decide and once how; every other verb
// names the takes in one line. Other faults are told as ever, and the code is that
// of the gravest.
func TestVerdict(t *testing.T) {
	asks := func(name, what, hint string, choice bool) takes.Fault {
		return takes.Fault{Take: name, Kind: takes.KindUnplaced, What: name + ": needs review: " + what, Hint: hint,
			Asks: true, Choice: choice}
	}
	silent := asks("tuba", "nothing is heard", "write cue_at", false)
	horn := asks("horn-2", "clap at 12.34 s (88 %) or 9.94 s (11 %)", "accept horn-2=1", true)
	viola := asks("viola", "clap at 3.00 s (60 %) or 4.00 s (40 %)", "accept viola=1", true)
	cut := takes.Fault{Take: "oboe", Kind: takes.KindUnreadable, What: "intake/oboe.mp4: cut off", Hint: "ask again"}
	late := takes.Fault{Take: "bell", Kind: takes.KindMissing, What: `take "bell" is not in yet`, Hint: "wait"}
	for _, c := range []struct {
		name        string
		faults      []takes.Fault
		sync, other string
	}{
		{"nothing", nil, "", ""},
		{"one", []takes.Fault{horn}, "horn-2: needs review: clap at 12.34 s (88 %) or 9.94 s (11 %)\n  hint: accept " +
			"horn-2=1",
			"1 take needs review and is left out: horn-2\n  hint: run `ripieno sync`"},
		{"all kinds", []takes.Fault{silent, cut, horn, viola, late},
			"intake/oboe.mp4: cut off\n  hint: ask again\ntake \"bell\" is not in yet\n  hint: wait\n" +
				"tuba: needs review: nothing is heard\nhorn-2: needs review: clap at 12.34 s (88 %) or 9.94 s " +
				"(11 %)\n" +
				"viola: needs review: clap at 3.00 s (60 %) or 4.00 s (40 %)\n  hint: accept horn-2=1",
			"intake/oboe.mp4: cut off\n  hint: ask again\ntake \"bell\" is not in yet\n  hint: wait\n" +
				"3 takes need review and are left out: tuba, horn-2, viola\n  hint: run `ripieno sync`"},
		{"nothing to choose", []takes.Fault{silent}, "tuba: needs review: nothing is heard\n  hint: write cue_at",
			"1 take needs review and is left out: tuba\n  hint: run `ripieno sync`"},
	} {
		for verb, got := range map[string]error{"sync": SyncVerdict(c.faults), "other": Verdict(c.faults)} {
			want := c.other
			if verb == "sync" {
				want = c.sync
			}
			if want == "" {
				if got != nil {
					t.Errorf("%s, %s: %v", c.name, verb, got)
				}
				continue
			}
			var list fault.List
			if !errors.As(got, &list) || fault.Format(got) != want {
				t.Errorf("%s, %s:\n%s\nwant\n%s", c.name, verb, fault.Format(got), want)
			}
			for _, f := range list {
				if isCut := f.What == cut.What; (f.Kind == fault.Media) != isCut {
					t.Errorf("%s, %s: kind %d of %s", c.name, verb, f.Kind, f.What)
				}
			}
		}
	}
}
