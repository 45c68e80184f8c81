package tempo

import (
	"math"
	"strings"
	"testing"
)

// What lies before the count-in moves everything by as much and nothing else, and a
// count-in may have a tempo of its own.
func TestLeadAndSpeed(t *testing.T) {
	meter, _ := ParseMeter("3/4")
	spec := Spec{Measures: 4, PickUp: 1, CountIn: CountIn{Measures: 2},
		Changes: []Change{{Measure: 0, Meter: meter, BPM: 90, RampTo: 60, Until: 3}}}
	plain, err := New(spec)
	if err != nil {
		t.Fatal(err)
	}
	spec.CountIn.Lead = 7.5
	late, err := New(spec)
	if err != nil {
		t.Fatal(err)
	}
	var was []float64
	for b := range plain.Beats() {
		was = append(was, b.Seconds)
	}
	i := 0
	for b := range late.Beats() {
		if math.Abs(b.Seconds-was[i]-7.5) > 1e-9 {
			t.Errorf("beat %d at %g, before at %g", i, b.Seconds, was[i])
		}
		i++
	}
	if i != len(was) || math.Abs(late.Cue()-plain.Cue()-7.5) > 1e-9 || math.Abs(late.End()-plain.End()-7.5) > 1e-9 {
		t.Errorf("%d beats, cue %g, end %g", i, late.Cue(), late.End())
	}
	if p := late.Position(3); p.Measure != -2 || p.Beat != 1 {
		t.Errorf("before the count-in it is %v", p)
	}
	spec.CountIn.Speed = 45
	slow, err := New(spec)
	if err != nil {
		t.Fatal(err)
	}
	if got := slow.Start(); math.Abs(got-7.5-5*60.0/45) > 1e-9 { // six beats but the pick-up's
		t.Errorf("the piece begins at %g", got)
	}
	if a, b := slow.End()-slow.Start(), plain.End()-plain.Start(); math.Abs(a-b) > 1e-9 {
		t.Errorf("the piece lasts %g s and not %g", a, b)
	}
	spec.CountIn.Measures = 0
	if none, err := New(spec); err != nil || none.Start() != 0 {
		t.Errorf("without a count-in it begins at %v (%v)", none, err)
	}
}

// The count-in of a part is as fast as the measure it leads into.
func TestExcerptHasItsOwnCountIn(t *testing.T) {
	meter, _ := ParseMeter("2/4")
	spec := Spec{Measures: 3, CountIn: CountIn{Measures: 1, Speed: 60},
		Changes: []Change{{Measure: 1, Meter: meter, BPM: 60},
			{Measure: 2, BPM: 120}}}
	m, err := New(spec)
	if err != nil {
		t.Fatal(err)
	}
	part, err := m.Excerpt(Span{2, 3})
	if err != nil || math.Abs(part.CountIn.Speed-120) > 1e-9 {
		t.Errorf("%+v, %v", part.CountIn, err)
	}
	for _, c := range []CountIn{{Measures: 1, Lead: -1}, {Measures: 1, Lead: math.NaN()}, {Measures: 1, Lead: 1e4},
		{Measures: 1, Speed: 1e5}} {
		spec.CountIn = c
		if _, err := New(spec); err == nil || !strings.Contains(err.Error(), "count-in") {
			t.Errorf("%+v: %v", c, err)
		}
	}
}
