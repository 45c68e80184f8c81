package manifest

import (
	"math"
	"strings"
	"testing"
)

// cutting has measures of 2 s and beats of half a second; measure 1 begins at guide time 4.
const cutting = `version: 1
title: x
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: 8}
takes: [{name: a, expected: true}, {name: b, expected: true}]
picture: {aspect: auto}
shots:
  - {from: 2.3, show: card, text: x}
  - {from: 5.3, to: 6.8, show: tutti}
  - {from: 7.1, show: solo, take: a, transition: dissolve}
  - {from: 7.2, show: solo, take: b}
  - {from: m5.2, show: tutti, transition: {kind: move}}
  - {from: m6.1.5, show: solo, take: a}
`

// Shots in seconds begin and end on the nearest beat of the piece, unless two would begin
// together; what is given in measures, and all in a film with one shape of tiles, stays.
// A transition without a length takes a beat.
func TestShotsCutOnBeats(t *testing.T) {
	for _, c := range []struct {
		name, old, new string
		from           []float64
		to             float64
	}{
		{"by default", "", "", []float64{2.3, 5.5, 7, 7.2, 12.5}, 7},
		{"asked for", "aspect: auto", "aspect: 16:9, cuts: beats", []float64{2.3, 5.5, 7, 7.2, 12.5}, 7},
		{"exact", "aspect: auto", "cuts: exact", []float64{2.3, 5.3, 7.1, 7.2, 12.5}, 6.8},
		{"one shape", "aspect: auto", "aspect: 16:9", []float64{2.3, 5.3, 7.1, 7.2, 12.5}, 6.8},
	} {
		text := strings.Replace(strings.Replace(cutting, "  - {from: m6.1.5, show: solo, take: a}\n", "", 1), c.old,
			c.new, 1)
		p, err := Parse("production.yaml", []byte(text))
		if err != nil {
			t.Fatal(c.name, err)
		}
		for i, want := range c.from {
			if got := p.Shots[i].From.Seconds; math.Abs(got-want) > 1e-9 {
				t.Errorf("%s: shot %d begins at %g, want %g", c.name, i+1, got, want)
			}
		}
		if got := p.Shots[1].To.Seconds; math.Abs(got-c.to) > 1e-9 {
			t.Errorf("%s: shot 2 ends at %g, want %g", c.name, got, c.to)
		}
		for _, i := range []int{2, 4} {
			if got := p.Shots[i].Transition.Seconds; math.Abs(got-0.5) > 1e-9 {
				t.Errorf("%s: the transition into shot %d takes %g s", c.name, i+1, got)
			}
		}
	}
}
