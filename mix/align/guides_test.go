package align

import (
	"math"
	"testing"

	"ripieno/mix/tempo"
)

// Takes fit the guide that they were played to better than one whose cue, count-in or length
// is another, and one that differs in nothing they can hear neither better nor worse.
func TestCompareGuides(t *testing.T) {
	e := play(t)
	spec := e.m.Spec()
	for _, c := range []struct {
		name string
		edit func(*tempo.Spec)
		gain float64 // of all together, at least
		move bool    // the piece begins elsewhere
	}{
		{"the same", func(*tempo.Spec) {}, 0, false},
		{"another beat", func(s *tempo.Spec) { s.CountIn.CueBeat = 3 }, 12, true},
		{"another count-in", func(s *tempo.Spec) { s.CountIn.Measures++ }, 8, true},
		{"longer", func(s *tempo.Spec) { s.Measures += 4 }, 12, false},
	} {
		now := spec
		c.edit(&now)
		m, err := tempo.New(now)
		if err != nil {
			t.Fatal(err)
		}
		sum, moved := 0.0, 0
		for _, f := range CompareGuides(e.m, m, e.recs) {
			if sum += f.Gain; math.Abs(f.Start) > 0.06 {
				moved++
			}
		}
		if c.gain == 0 && sum != 0 || sum < c.gain || c.move != (2*moved > len(e.recs)) {
			t.Errorf("%s: %.1f nats, %d of %d begin elsewhere", c.name, sum, moved, len(e.recs))
		}
	}
	fixed := Recording{Features: e.recs[0].Features, Offset: at(1)}
	if got := CompareGuides(e.m, e.m, []Recording{fixed, {}}); got[0] != (GuideFit{}) || got[1] != (GuideFit{}) {
		t.Errorf("nothing to compare: %+v", got)
	}
}
