package intake

import (
	"slices"
	"testing"
)

// A person's word beats what was found: nothing asks for more than they want, what asked
// for less stays what it was, and what nothing asked for is asked by hand.
func TestDecide(t *testing.T) {
	all := []Finding{{Code: Silent, Level: Redo, Sure: 0.9, Ask: "again?"}, {Code: TooSoft, Level: Ask, Ask: "louder?"},
		{Code: HDR, Level: OK}}
	for _, c := range []struct {
		what     string
		level    Level
		findings []Finding
		want     []string
		asks     int
	}{
		{"fine after all", OK, all, []string{"silent ok", "too-soft ok", "hdr ok"}, 0},
		{"a question will do", Ask, all, []string{"silent ask", "too-soft ask", "hdr ok"}, 2},
		{"as it was found", Redo, all, []string{"silent redo", "too-soft ask", "hdr ok"}, 2},
		{"worse than found", Redo, all[1:], []string{"by-hand redo", "too-soft ask", "hdr ok"}, 2},
		{"a question where nothing was found", Ask, nil, []string{"by-hand ask"}, 1},
		{"fine where nothing was found", OK, nil, nil, 0},
	} {
		var got []string
		asks := 0
		for _, f := range Decide(c.level, c.findings) {
			got = append(got, string(f.Code)+" "+f.Level.String())
			if f.Ask != "" {
				asks++
			}
			if f.Code == ByHand && (f.What == "" || f.Ask == "" || f.Question().Key != "ask.by-hand") {
				t.Errorf("%s: what is said by hand is %+v", c.what, f)
			}
		}
		if !slices.Equal(got, c.want) || asks != c.asks {
			t.Errorf("%s: %q with %d questions, want %q with %d", c.what, got, asks, c.want, c.asks)
		}
	}
	if all[0].Level != Redo || all[0].Ask == "" {
		t.Error("the findings themselves were changed")
	}
}
