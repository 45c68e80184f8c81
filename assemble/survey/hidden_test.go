package survey

import (
	"testing"

	"ripieno/assemble/production"
	"ripieno/assemble/report"
	"ripieno/mix/align"
)

// TestAPageNamesNobodyWhoIsHidden: a finding about one take may speak of the
// file of another.
func TestAPageNamesNobodyWhoIsHidden(t *testing.T) {
	man := &production.Production{Takes: []production.Take{
		{Name: "oboe", Player: "Mara Voss", Video: &production.File{Path: "intake/mara.mov"}},
		{
			Name: "viola", Player: "Pia Lund", HideName: true,
			Video: &production.File{Path: "intake/pia.mov"}, Audio: &production.File{Path: "intake/pia.mov.wav"},
		},
	}}
	one := report.Reviewed{
		Name: "oboe", Files: []string{"intake/mara.mov"},
		Findings: []report.Found{{
			File: "intake/mara.mov", What: `the same content as "intake/pia.mov" of "viola"`,
			Ask: "Is it Pia Lund who plays in pia.mov.wav?",
		}},
		Places: []report.Place{{
			File: "intake/pia.mov.wav",
			Placement: align.Placement{Evidence: []string{"same sound as intake/pia.mov"},
				Reason: "pia.mov is not placed"},
		}},
		Levels: []report.Loudness{{File: "intake/pia.mov"}},
	}
	evidence := one.Places[0].Evidence
	hide(&one, hiddenWords(man))
	for _, c := range []struct{ got, want string }{
		{one.Files[0], "intake/mara.mov"},
		{one.Findings[0].File, "intake/mara.mov"},
		{one.Findings[0].What, `the same content as "video of viola" of "viola"`},
		{one.Findings[0].Ask, "Is it viola who plays in sound of viola?"},
		{one.Places[0].File, "sound of viola"},
		{one.Places[0].Evidence[0], "same sound as video of viola"},
		{one.Places[0].Reason, "video of viola is not placed"},
		{one.Levels[0].File, "video of viola"},
		{evidence[0], "same sound as intake/pia.mov"}, // what was measured is left as it is
	} {
		if c.got != c.want {
			t.Errorf("got %q, want %q", c.got, c.want)
		}
	}
	man.Takes[1].HideName = false
	if hiddenWords(man) != nil {
		t.Error("words are hidden of nobody")
	}
}
