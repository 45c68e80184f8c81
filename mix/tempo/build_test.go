package tempo

import (
	"errors"
	"math"
	"strings"
	"testing"
)

// Each row breaks one thing of a sound piece; the message must name the
// measure and the field must let a manifest point at the line.
func TestFaults(t *testing.T) {
	for _, c := range []struct {
		name        string
		spoil       func(*Spec)
		field, what string
		change      int
		measure     int
	}{
		{"no measures", func(s *Spec) { s.Measures = 0 }, "measures", "the piece has 0 measures", -1, 0},
		{"too many", func(s *Spec) { s.Measures = MaxMeasures + 1 }, "measures", "the piece has 10001 measures", -1, 0},
		{"no changes", func(s *Spec) { s.Changes = nil }, "changes", "no tempo is given", -1, 0},
		{"late start", func(s *Spec) { s.Changes[0].Measure = 2 }, "measure", "the first change is at measure 2", 0, 2},
		{"start in the pick-up that is not there", func(s *Spec) { s.Changes[0].Measure = 0 }, "measure",
			"measure 0 is not in the piece, which has measures 1 to 20", 0, 0},
		{"no meter", func(s *Spec) { s.Changes[0].Meter = Meter{} }, "meter",
			"measure 1: the first change has no meter", 0, 1},
		{"no bpm", func(s *Spec) { s.Changes[0].BPM = 0 }, "bpm", "measure 1: the first change has no tempo", 0, 1},
		{"past the end", func(s *Spec) { s.Changes[1].Measure = 21 }, "measure",
			"measure 21 is not in the piece, which has measures 1 to 20", 1, 21},
		{"out of order", func(s *Spec) { s.Changes = append(s.Changes, Change{Measure: 3, BPM: 60}) }, "measure",
			"measure 3 comes after measure 10", 2, 3},
		{"twice", func(s *Spec) { s.Changes = append(s.Changes, Change{Measure: 10, BPM: 60}) }, "measure",
			"measure 10: two changes at one place", 2, 10},
		{"meter off the downbeat", func(s *Spec) { s.Changes[1].At = 2; s.Changes[1].Meter = s.Changes[0].Meter },
			"meter", "measure 10: a meter can only change on the downbeat", 1, 10},
		{"negative", func(s *Spec) { s.Changes[1].BPM = -60 }, "bpm", "measure 10: a tempo of -60 beats a minute", 1,
			10},
		{"NaN", func(s *Spec) { s.Changes[1].BPM = math.NaN() }, "bpm", "measure 10: a tempo of NaN beats a minute", 1,
			10},
		{"endless", func(s *Spec) { s.Changes[1].BPM = math.Inf(1) }, "bpm",
			"measure 10: a tempo of +Inf beats a minute", 1, 10},
		{"ramp to nowhere", func(s *Spec) { s.Changes[1].RampTo = 90 }, "ramp_to", "measure 10: ramp_to without until",
			1, 10},
		{"until alone", func(s *Spec) { s.Changes[1].Until = 12 }, "until", "measure 10: until without ramp_to", 1, 10},
		{"backwards", func(s *Spec) { s.Changes[1].RampTo, s.Changes[1].Until = 90, 9 }, "until",
			"measure 10: the ramp ends in measure 9, which is not later", 1, 10},
		{"of no length", func(s *Spec) {
			s.Changes[1].At, s.Changes[1].RampTo, s.Changes[1].Until = 4.9999999999999991, 90, 11
		}, "until", "measure 10: the ramp ends where it begins", 1, 10},
		{"beyond", func(s *Spec) { s.Changes[1].RampTo, s.Changes[1].Until = 90, 22 }, "until",
			"measure 10: the ramp ends in measure 22, the piece in measure 20", 1, 10},
		{"within a ramp", func(s *Spec) { s.Changes[0].RampTo, s.Changes[0].Until = 90, 11 }, "measure",
			"measure 10: a tempo within the ramp of measure 1", 1, 10},
		{"beat that is not there", func(s *Spec) { s.Changes[1].At = 5 }, "measure",
			"measure 10: beat 5 is past the measure, which has 4 beats", 1, 10},
		{"unit alone", func(s *Spec) { s.Changes[1].BPM, s.Changes[1].Beat = 0, Unit{1, 2} }, "beat",
			"measure 10: a beat unit without a bpm says nothing", 1, 10},
		{"odd unit", func(s *Spec) { s.Changes[1].Beat = Unit{1, -2} }, "beat",
			"measure 10: note value 1/-2 cannot be a beat", 1, 10},
		{"nothing", func(s *Spec) { s.Changes[1].BPM = 0 }, "measure", "measure 10: the change changes nothing", 1, 10},
		{"long pick-up", func(s *Spec) { s.PickUp = 4 }, "pick_up", "a pick-up of 4 beats in 4/4", -1, 0},
		{"negative pick-up", func(s *Spec) { s.PickUp = -1 }, "pick_up", "a pick-up of -1 beats in 4/4", -1, 0},
		{"long count-in", func(s *Spec) { s.CountIn.Measures = 65 }, "count_in", "a count-in of 65 measures", -1, 0},
		{"cue without count-in", func(s *Spec) { s.CountIn = CountIn{Measures: 0, CueMeasure: 1, CueBeat: 1} },
			"cue", "a cue without a count-in", -1,
			0},
		{"late cue", func(s *Spec) { s.CountIn.CueMeasure = 9 }, "cue",
			"the cue is in measure 9 of the count-in, which has 8", -1, 0},
		{"cue between beats", func(s *Spec) { s.CountIn = CountIn{Measures: 8, CueMeasure: 5, CueBeat: 1.5} }, "cue",
			"the cue is on beat 1.5 of measure 5 of the count-in", -1, 0},
		{"cue past the measure", func(s *Spec) { s.CountIn = CountIn{Measures: 8, CueMeasure: 5, CueBeat: 5} }, "cue",
			"the cue is on beat 5 of measure 5 of the count-in", -1, 0},
		{"cue in the pick-up", func(s *Spec) {
			s.PickUp = 1
			s.CountIn = CountIn{Measures: 8, CueMeasure: 8,
				CueBeat: 4}
		}, "cue",
			"the cue is within the pick-up", -1, 0},
		{"hold nowhere", func(s *Spec) { s.Holds = []Hold{{Position{30, 1}, 2}} }, "hold",
			"hold: measure 30 is past the end: the piece has 20 measures", -1, 30},
		{"hold in the count-in", func(s *Spec) { s.Holds = []Hold{{Position{-1, 1}, 2}} }, "hold",
			"measure -1: a hold in the count-in", -1, -1},
		{"hold of nothing", func(s *Spec) { s.Holds = []Hold{{Position{3, 1}, 0}} }, "hold",
			"measure 3: a hold of 0 seconds", -1, 3},
		{"two holds", func(s *Spec) { s.Holds = []Hold{{Position{3, 1}, 1}, {Position{3, 1}, 2}} }, "hold",
			"measure 3: two holds at one place", -1, 3},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := Spec{CountIn: CountIn{Measures: 8}, Measures: 20,
				Changes: []Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 120}, {Measure: 10, BPM: 80}}}
			if _, err := New(s); err != nil {
				t.Fatal(err)
			}
			c.spoil(&s)
			_, err := New(s)
			for _, e := range Errors(err) {
				if e.What == c.what {
					if e.Field != c.field || e.Change != c.change || e.Measure != c.measure {
						t.Errorf("fault is %+v", e)
					}
					if (e.Hold >= 0) != (c.field == "hold") {
						t.Errorf("fault is %+v", e)
					}
					return
				}
			}
			t.Errorf("got %v, want %q", err, c.what)
		})
	}
}

func TestAllFaultsAtOnce(t *testing.T) {
	_, err := New(Spec{Measures: 4, Changes: []Change{{Measure: 1, BPM: -3}, {Measure: 9, BPM: 60},
		{Measure: 2, RampTo: 5000, Until: 1}}})
	if n := len(Errors(err)); n != 6 {
		t.Errorf("%d faults: %v", n, err)
	}
	if Errors(nil) != nil || Errors(errors.New("other")) != nil {
		t.Error("Errors finds faults where there are none")
	}
	var one *Error
	if !errors.As(err, &one) || !strings.HasPrefix(one.Error(), "tempo: ") {
		t.Errorf("%v", one)
	}
}

// The spec a map was made from is not the caller's to change.
func TestMapKeepsItsOwnSpec(t *testing.T) {
	s := Spec{Measures: 2, Changes: []Change{{Measure: 1, Meter: meter(t, "4/4"), BPM: 120}}}
	m := build(t, s)
	s.Changes[0].BPM = 10
	m.Spec().Changes[0].BPM = 20
	if m.Spec().Changes[0].BPM != 120 {
		t.Error("the map's spec was changed from outside")
	}
}

func TestDefaultCue(t *testing.T) {
	// 8 and 4: common practice, no source; the rest follows the same rule.
	for _, c := range []struct{ measures, want int }{{8, 5}, {4, 3}, {2, 2}, {1, 1}, {6, 4}} {
		if m, b := DefaultCue(c.measures); m != c.want || b != 1 {
			t.Errorf("cue of %d is %d.%g, want %d.1", c.measures, m, b, c.want)
		}
	}
	if m, b := DefaultCue(0); m != 0 || b != 0 {
		t.Errorf("cue of no count-in is %d.%g", m, b)
	}
}
