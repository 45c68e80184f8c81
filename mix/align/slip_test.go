package align

import (
	"math"
	"strings"
	"testing"
)

func TestAlone(t *testing.T) {
	for _, c := range []struct {
		n      int
		margin float64
		want   float64
	}{
		{100, 5, 1}, {5, 5, 1}, {100, math.Inf(1), 1},
		{100, 1.9, sameDoubt}, {100, -3, sameDoubt}, {scant, 0.5, sameDoubt}, {scant - 1, 1.5, sameDoubt},
		{scant - 1, 0.9, scantMore}, {0, 0, scantMore}, {3, -8, scantMore},
	} {
		if got := alone(c.n, c.margin); got != c.want {
			t.Errorf("%d notes, margin %g: %g, want %g", c.n, c.margin, got, c.want)
		}
	}
}

func TestDoubted(t *testing.T) {
	for _, c := range [][3]float64{{1, 8, 1}, {0.999, 1, 0.999}, {0.999, 8, 0.992}, {0.995, 8, 0.98}, {0.97, 8, 0.97}, {0.5, 2, 0.5}, {0, 8, 0}} {
		if got := doubted(c[0], c[1]); math.Abs(got-c[2]) > 1e-12 {
			t.Errorf("%g with a factor of %g: %g, want %g", c[0], c[1], got, c[2])
		}
	}
	last := 0.0
	for p := 0.0; p <= 1; p += 1e-3 {
		if got := doubted(p, 8); got < last {
			t.Errorf("a greater probability %g gives less: %g", p, got)
		} else {
			last = got
		}
	}
}

// two is a take with a candidate that its cue speaks for and one two beats
// later that nothing does but the playing, which is as good at both.
func two(lead, margin float64) *take {
	x := newTake(&Recording{Name: "x", Features: &Features{Duration: 60, Events: []Event{{Time: 4}}}})
	x.hyps = []hyp{
		{cue: 0, stray: -1, o: -4, score: lead, byCue: lead - margin},
		{cue: 0, stray: -1, o: -4.05, score: lead - 20, byCue: -30}, // the same place: no rival
		{cue: -1, stray: 0, o: -2.8},
	}
	x.normalise()
	return x
}

func TestRival(t *testing.T) {
	for _, margin := range []float64{-3, 0, 4} {
		k, m := two(9, margin).rival(0)
		if k != 2 || math.Abs(m-margin) > 1e-9 {
			t.Errorf("candidate %d speaks against by %g, want 2 by %g", k, m, margin)
		}
	}
	x := two(9, 0)
	x.hyps = x.hyps[:2]
	if k, m := x.rival(0); k != -1 || !math.IsInf(m, 1) {
		t.Errorf("a single place has the rival %d by %g", k, m)
	}
}

// The same odds are sure when the playing speaks for the place, not when only
// the cue does, and still less with a few notes.
func TestJudgeWhatOnlyTheCueSays(t *testing.T) {
	for _, c := range []struct {
		name         string
		lead, margin float64
		n            int
		sure         bool
	}{
		{"both", 5, 5, 60, true},
		{"the cue", 5, 0, 60, false},
		{"the cue, most clearly", 7, 0, 60, true},
		{"the cue and few notes", 6, 0, 7, false},
		{"both and few notes", 6, 5, 7, true},
		{"the cue, most clearly, and few notes", 8, 0, 7, true},
	} {
		x := two(c.lead, c.margin)
		p := Placement{Method: "cue+playing", Uncertainty: 0.003, Lateness: math.NaN()}
		p.judge(x, 0, playing{n: c.n, sigma: 0.01})
		if p.Sure != c.sure {
			t.Errorf("%s: %+v", c.name, p)
		}
		if !p.Sure && !strings.Contains(p.Reason, "only the cue says that it lies here, and the playing would fit 1.20 s later as well") {
			t.Errorf("%s: %q", c.name, p.Reason)
		}
		if p.Sure != (p.Confidence >= sureBar) || p.Confidence > x.hyps[0].p {
			t.Errorf("%s: confidence %g of %g", c.name, p.Confidence, x.hyps[0].p)
		}
	}
}

// A faint cue is not believed against the playing, and no cue that lies farther
// from the playing than people clap beside the beat.
func TestJudgeCuesThatAreNoClaps(t *testing.T) {
	for _, c := range []struct {
		name             string
		margin, db, late float64
		reason           string // none: sure
	}{
		{"loud against the playing", -1, 40, math.NaN(), ""},
		{"faint against the playing", -1, 25, math.NaN(), "only the cue says that it lies here"},
		{"no level", -1, math.NaN(), math.NaN(), "only the cue says that it lies here"},
		{"faint with the playing", 3, 25, math.NaN(), ""},
		{"late", 3, 40, 0.055, ""},
		{"too late", 3, 40, 0.072, "the playing is 72 ms late against what seems to be the cue"},
		{"too early", 3, 40, -0.095, "the playing is 95 ms early against what seems to be the cue"},
	} {
		x := two(9, c.margin)
		x.f.Events[0].Level, x.f.Events[0].Before = -20, -20-c.db
		p := Placement{Method: "cue+playing", Uncertainty: 0.003, Lateness: c.late}
		p.judge(x, 0, playing{n: 60, sigma: 0.01})
		if p.Sure != (c.reason == "") || !strings.Contains(p.Reason, c.reason) {
			t.Errorf("%s: %+v", c.name, p)
		}
	}
}
