package manifest

import (
	"math"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/mix/tempo"
)

const orderManifest = `version: 1
title: Round Again
tempo:
  count_in: {measures: 2}
  changes: [{measure: 1, meter: 4/4, bpm: 120}, {measure: 3, meter: 3/4, bpm: 60}]
  measures: 4
  order: ORDER
takes: []
`

// Measures of 2 s, 2 s, 3 s and 3 s after a count-in of 4 s: with the first
// two repeated, the 3/4 begins at 4 + 4·2 = 12 s as measure 5, and the piece
// ends at 18 s.
func TestOrderWritesRepeatsOut(t *testing.T) {
	p, err := Parse("production.yaml", []byte(strings.Replace(orderManifest, "ORDER", "[1-2, 1-4]", 1)))
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	if n := p.Tempo.Measures(); n != 6 {
		t.Errorf("%d measures are played, want 6", n)
	}
	at, err := p.Tempo.Seconds(tempo.Position{Measure: 5, Beat: 1})
	if err != nil || math.Abs(at-12) > 1e-9 || math.Abs(p.Tempo.End()-18) > 1e-9 {
		t.Errorf("measure 5 at %v, the end at %v (%v)", at, p.Tempo.End(), err)
	}
	single, err := Parse("production.yaml", []byte(strings.Replace(orderManifest, "ORDER", "[4, 1]", 1)))
	if err != nil {
		t.Fatal(fault.Format(err))
	}
	if end := single.Tempo.End(); math.Abs(end-(single.Tempo.Start()+5)) > 1e-9 {
		t.Errorf("two measures last %v", end-single.Tempo.Start())
	}
}

// The pick-up is measure 0 here as everywhere, written out or not: half a second before
// measure 1, whether order names it or only measure 1. m1 is the same as 1.
func TestOrderHasThePickUp(t *testing.T) {
	piece := strings.Replace(orderManifest, "  measures: 4", "  pick_up: 1\n  measures: 4", 1)
	for text, want := range map[string]struct{ start, end float64 }{
		"[1-2, 1-4]":        {3.5, 18},
		"[0-2, 1-4]":        {3.5, 18},
		"[m0-m2, m1-m4]":    {3.5, 18},
		"[0, 1-2, m1 - m4]": {3.5, 18},
		"[2-4]":             {4, 12},
	} {
		p, err := Parse("production.yaml", []byte(strings.Replace(piece, "ORDER", text, 1)))
		if err != nil {
			t.Errorf("%s: %s", text, fault.Format(err))
			continue
		}
		first, err := p.Tempo.Seconds(tempo.Position{Measure: 1, Beat: 1})
		start := first - 0.5*p.Tempo.Spec().PickUp
		if err != nil || math.Abs(start-want.start) > 1e-9 || math.Abs(p.Tempo.End()-want.end) > 1e-9 {
			t.Errorf("%s: from %v to %v, want %v (%v)", text, start, p.Tempo.End(), want, err)
		}
	}
	const once = `production.yaml:8:10: the pick-up, measure 0, is played once, before measure 1`
	for text, want := range map[string]string{"[1-2, 0-4]": once, "[0, 2-4]": once, "[0]": once} {
		_, err := Parse("production.yaml", []byte(strings.Replace(piece, "ORDER", text, 1)))
		if err == nil || err.Error() != want {
			t.Errorf("%s: %v\nwant %s", text, err, want)
		}
	}
}

func TestOrderFaults(t *testing.T) {
	for text, want := range map[string]string{
		"[1-5]":      `production.yaml:7:11: "1-5" is not a range of measures`,
		"[2-1]":      `production.yaml:7:11: "2-1" is not a range of measures`,
		"[1-2, all]": `production.yaml:7:16: "all" is not a range of measures`,
		"[0-2]":      `production.yaml:7:10: order has measure 0, and there is no pick-up`,
		"[]":         `production.yaml:7:10: order has no entries`,
	} {
		_, err := Parse("production.yaml", []byte(strings.Replace(orderManifest, "ORDER", text, 1)))
		if err == nil || err.Error() != want {
			t.Errorf("%s: %v\nwant %s", text, err, want)
		}
	}
}
