package align

import (
	"math"
	"slices"
	"strings"
	"testing"
)

// As played, the cue lies on its beat, the rest of the measurement is as
// before, and other takes are not moved.
func TestPlaceAsPlayed(t *testing.T) {
	e, recs := studio()
	before := Place(e.Map, recs, nil)
	mine := slices.Clone(recs)
	mine[1].AsPlayed = true
	after := Place(e.Map, mine, nil)
	for i := range recs {
		was, is := before[i], after[i]
		if i != 1 {
			if show(is) != show(was) {
				t.Errorf("%s was\n%s, is\n%s", is.Name, show(was), show(is))
			}
			continue
		}
		if is.Method != "cue+playing" || is.Kept == 0 || math.Abs(is.Offset-is.CueOffset) > 1e-9 ||
			math.Abs(is.Offset-is.Kept-was.Offset) > 1e-9 {
			t.Errorf("as played\n%s, was\n%s", show(is), show(was))
		}
		if is.Lateness != was.Lateness || is.Confidence != was.Confidence || is.DriftPPM != was.DriftPPM ||
			is.Sure != was.Sure {
			t.Errorf("more than the offset differs:\n%s, was\n%s", show(is), show(was))
		}
		if last := is.Evidence[len(is.Evidence)-1]; !strings.Contains(last, "is kept") {
			t.Errorf("the evidence ends with %q", last)
		}
	}
}

// Of one take, all recordings move by the same: by the one that is known best,
// by the only one with a cue, and not at all once the user has placed one.
func TestKeepLateness(t *testing.T) {
	nan := math.NaN()
	at := func(method Method, offset, cue, err float64) Placement {
		return Placement{Method: method, Offset: offset, CueOffset: cue, Uncertainty: err}
	}
	for _, c := range []struct {
		name  string
		given []bool
		in    []Placement
		want  []float64 // of Kept
	}{
		{"one file", []bool{false}, []Placement{at("cue+playing", -3, -2.97, 0.005)}, []float64{0.03}},
		{"a device follows", []bool{false, false}, []Placement{at("cue+playing", -3, -2.97, 0.005),
			at("device", 1, 1.01, 0.004)}, []float64{0.03, 0.03}},
		{"only the follower heard the cue", []bool{false, false}, []Placement{at("playing", -3, nan, 0.005),
			at("device", 1, 1.02, 0.006)}, []float64{0.02, 0.02}},
		{"two that could not be compared", []bool{false, false}, []Placement{at("cue+playing", -3, -2.97, 0.009),
			at("cue+playing", 1, 1.02, 0.005)}, []float64{0.02, 0.02}},
		{"what lies far off is no cue", []bool{false, false}, []Placement{at("playing", -3, nan, 0.005),
			at("device", 1, 1.2, 0.006)}, []float64{0, 0}},
		{"no cue at all", []bool{false}, []Placement{at("playing", -3, nan, 0.005)}, []float64{0}},
		{"the cue alone", []bool{false}, []Placement{at("cue", -3, -3, 0.03)}, []float64{0}},
		{"placed by the user", []bool{true, false}, []Placement{at("cue given", -3, -3, 0), at("device", 1, 1.02, 0)},
			[]float64{0, 0}},
		{"another one placed by the user", []bool{true, false}, []Placement{at("offset given", -3, nan, 0),
			at("cue+playing", 1, 1.02, 0.01)}, []float64{0, 0.02}},
		{"nothing found", []bool{false}, []Placement{at("none", 0, nan, math.Inf(1))}, []float64{0}},
	} {
		var takes []*take
		for i := range c.in {
			takes = append(takes, &take{rec: &Recording{Take: "a", AsPlayed: true}, given: c.given[i]})
		}
		// Somebody else, who does not want it.
		takes = append(takes, &take{rec: &Recording{Take: "b"}})
		placed := append(slices.Clone(c.in), at("cue+playing", 5, 5.04, 0.005))
		keepLateness(takes, placed)
		for i, want := range append(c.want, 0) {
			moved := placed[i].Offset - append(slices.Clone(c.in), at("", 5, 0, 0))[i].Offset
			if math.Abs(placed[i].Kept-want) > 1e-9 || math.Abs(moved-want) > 1e-9 {
				t.Errorf("%s: recording %d keeps %v and moves by %v, want %v", c.name, i, placed[i].Kept, moved, want)
			}
		}
	}
}
