package roll

import (
	"slices"
	"strings"
	"testing"
	"time"

	"ripieno/assemble/intake"
	"ripieno/assemble/production"
	"ripieno/assemble/takes"
)

// TestRoll covers every status; the day itself is not late, the next one is.
func TestRoll(t *testing.T) {
	man := &production.Production{Takes: []production.Take{
		{Name: "oboe", Player: "Mara Voss", Part: "Oboe", Video: &production.File{Path: "intake/o.mov"},
			Audio: &production.File{Path: "intake/o.wav"}},
		{Name: "horn", Expected: true},
		{Name: "flute", Video: &production.File{Path: "intake/f.mp4"}},
		{Name: "cello", Video: &production.File{Path: "intake/c.mp4"}},
	}}
	quiet := intake.Finding{Level: intake.Ask, What: "it is soft", Ask: "could you sit closer?"}
	broken := intake.Finding{Level: intake.Redo, What: "it breaks off", Ask: "please send it again"}
	fine := intake.Finding{Level: intake.OK, What: "an uneven frame rate"}
	check := Check{
		Takes: []Checked{
			{Name: "oboe", Level: "ask", Findings: []intake.Finding{quiet, fine}}, {Name: "horn", Level: LevelMissing},
			{Name: "flute", Level: "redo", Findings: []intake.Finding{broken, quiet}}, {Name: "cello", Level: "redo",
				Findings: []intake.Finding{broken}},
		},
		Faults: []takes.Fault{{Take: "horn", Kind: takes.KindMissing}, {Take: "cello", Kind: takes.KindUnreadable,
			What: "no such file"}},
	}
	due := time.Date(2031, 6, 12, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		due, now time.Time
		horn     Status
		text     string
	}{
		{time.Time{}, due, StatusMissing, `take "horn" is not in yet`},
		{due, due.Add(23 * time.Hour), StatusMissing, `take "horn" is not in yet`},
		{due, due.Add(24 * time.Hour), StatusLate, `take "horn" is late: it was due on 2031-06-12`},
	} {
		r := Call(man, check, c.due, c.now)
		var got []Status
		var whats []string
		for _, l := range r.Takes {
			got = append(got, l.Status)
		}
		for _, b := range r.Faults {
			whats = append(whats, b.What)
		}
		if want := []Status{StatusIn, c.horn, StatusRejected, StatusRejected}; !slices.Equal(got, want) {
			t.Errorf("due %v, now %v: %v, want %v", c.due, c.now, got, want)
		}
		want := []string{"no such file", c.text, `take "flute" has to come again: it breaks off`}
		if !slices.Equal(whats, want) {
			t.Errorf("faults %q, want %q", whats, want)
		}
		if r.Counts.In != 1 || r.Counts.Rejected != 2 || r.Counts.Missing+r.Counts.Late != 1 {
			t.Errorf("counts %+v", r.Counts)
		}
		if o := r.Takes[0]; !slices.Equal(o.Why, []string{"it is soft"}) || len(o.Ask) != 1 ||
			strings.Join(o.Files, " ") != "intake/o.mov intake/o.wav" {
			t.Errorf("the oboe's line is %+v", o)
		}
	}
}
