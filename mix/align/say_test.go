package align

import (
	"math"
	"strings"
	"testing"
)

// What a person is asked is one line: where the clap may be, how likely each is,
// and nothing of places that are no choice.
func TestQuestion(t *testing.T) {
	clap := func(at, odds float64) Candidate { return Candidate{At: at, ByCue: true, Odds: odds} }
	note := func(at, odds float64) Candidate { return Candidate{At: at, Odds: odds} }
	for _, c := range []struct {
		p      Placement
		want   string
		rivals int
	}{
		{Placement{Confidence: 0.88, Candidates: []Candidate{clap(12.34, 0.88), clap(9.94, 0.11), clap(2, 0.004)}},
			"clap at 12.34 s (88 %) or 9.94 s (11 %)", 2},
		{Placement{Confidence: 0.5, Candidates: []Candidate{clap(12.34, 0.5), note(9.94, 0.4), note(11, 0.1)}},
			"clap at 12.34 s (50 %) or first note at 9.94 s (40 %) or 11.00 s (10 %)", 3},
		// Never "100 %" of what is asked about.
		{Placement{Confidence: 0.9999, Uncertainty: 0.047, Candidates: []Candidate{note(3.2, 0.9999)}},
			"first note at 3.20 s (99 %), but only within about 47 ms", 1},
		{Placement{Confidence: 0.003, Candidates: []Candidate{note(3.2, 0.003)}}, "first note at 3.20 s (<1 %)", 1},
		{Placement{Sure: true, Confidence: 1, Candidates: []Candidate{clap(3, 1), clap(4, 0.2)}}, "", 0},
		{Placement{Confidence: 0.98, OtherTempo: 0.96, Reason: "the playing fits a slower tempo",
			Candidates: []Candidate{clap(3, 1)}},
			"the playing fits a slower tempo", 1},
		{Placement{Reason: "nothing is heard; give offset"}, "nothing is heard; give offset", 0},
		{Placement{Uncertainty: math.Inf(1)}, "its place was not found; give cue_at or offset", 0},
	} {
		if got := c.p.Question(); got != c.want || strings.Contains(got, "\n") {
			t.Errorf("%q, want %q", got, c.want)
		}
		if got := len(c.p.Rivals()); got != c.rivals {
			t.Errorf("%q: %d rivals, want %d", c.want, got, c.rivals)
		}
	}
}

// The doubt names another place only where that is likely enough to be a choice: never one
// "against 0 %".
func TestDoubtNamesRivalsOnly(t *testing.T) {
	tk := &take{f: &Features{}, hyps: []hyp{{cue: 0}}}
	for odds, want := range map[float64]string{
		0.2:   "it could as well lie 2.00 s later (80 % against 20 %); accept one of them or give cue_at",
		0.004: "too little speaks for its place; accept it or give cue_at",
	} {
		p := Placement{Method: ByCue, Confidence: justUnsure,
			Candidates: []Candidate{{Offset: 1, Odds: 0.8}, {Offset: 3, Odds: odds}}}
		if got := p.doubt(tk, []int{0}); got != want {
			t.Errorf("%q, want %q", got, want)
		}
	}
}
