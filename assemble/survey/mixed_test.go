package survey

import (
	"reflect"
	"testing"

	"ripieno/assemble/production"
	"ripieno/assemble/report"
	"ripieno/assemble/soundtrack"
	"ripieno/mix/tempo"
)

// A stretch of guide time is measures on the page, the longest one; the tune stands first.
func TestHiddenOnThePage(t *testing.T) {
	// Measures of 4/4 at 120 last 2 s; a count-in of one.
	meter, err := tempo.ParseMeter("4/4")
	if err != nil {
		t.Fatal(err)
	}
	music, err := tempo.New(tempo.Spec{Measures: 8, CountIn: tempo.CountIn{Measures: 1},
		Changes: []tempo.Change{{Measure: 1, Meter: meter, BPM: 120}}})
	if err != nil {
		t.Fatal(err)
	}
	at := music.Start()
	s := &Survey{man: &production.Production{Tempo: music}, covered: map[string]soundtrack.Covered{"oboe": {
		Part: &soundtrack.HiddenResult{Share: 0.6, Lift: 3, Spans: []soundtrack.HiddenSpan{
			{From: at, To: at + 3}, {From: at + 4.5, To: at + 10}}},
		Tune: &soundtrack.HiddenResult{Share: 0.3, Lift: 2},
	}}}
	want := []report.Hidden{{Melody: true, Share: 0.3, Lift: 2}, {Share: 0.6, Lift: 3, From: 3, To: 5}}
	if got := s.hidden("oboe"); !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	s.covered["horn"] = soundtrack.Covered{Blend: &soundtrack.BlendResult{Power: 4, Register: -1,
		Moves: []soundtrack.MoveResult{{Gain: -2, RoleResult: soundtrack.RoleResult{Role: "fill",
			HiddenSpan: soundtrack.HiddenSpan{From: at, To: at + 8}}}}}}
	if got, want := s.blended("horn"), (&report.Blended{Instrument: 4, Register: -1,
		Moves: []report.Moved{{Role: "fill", Gain: -2, From: 1, To: 4}}}); !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, want %+v", got, want)
	}
	if got := s.blended("oboe"); got != nil {
		t.Errorf("%+v of a take that is not moved", got)
	}
	if got := s.hidden("viola"); got != nil {
		t.Errorf("%+v of a take that is heard", got)
	}
}
