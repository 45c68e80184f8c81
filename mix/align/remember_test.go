package align

import "testing"

// A place is remembered only where others made it doubtful and it is still far likelier than all else.
func TestRemember(t *testing.T) {
	doubt := func(p float64) Placement {
		return Placement{Method: ByCue, Confidence: p, Uncertainty: 0.01, Reason: "it could as well lie 2 s later",
			Candidates: []Candidate{{At: 3, ByCue: true, Odds: p}, {At: 5, ByCue: true, Odds: 1 - p}}}
	}
	near, far, sure, tempo, former, beats, none, vague := doubt(0.951), doubt(0.949), doubt(0.999), doubt(0.98),
		doubt(0.98), doubt(0.98), doubt(0.98), doubt(0.98)
	sure.Sure, tempo.OtherTempo, former.Former, none.Method = true, 1.03, true, NoMethod
	vague.Uncertainty, vague.CueOffset = 0.05, 1
	beats.doubtBeats()
	for what, p := range map[string]*Placement{"half likely": &far, "sure": &sure, "another tempo": &tempo,
		"another guide": &former, "off the beats": &beats, "not placed": &none, "vague": &vague} {
		was := p.Sure
		if p.Remember() || p.Sure != was || p.Remembered != "" {
			t.Errorf("%s: %+v", what, p)
		}
	}
	if !near.Remember() || !near.Sure || near.Reason != "" || near.Confidence != 0.951 ||
		near.Remembered != "clap at 3.00 s (95 %) or 5.00 s (5 %)" {
		t.Errorf("%+v", near)
	}
}
