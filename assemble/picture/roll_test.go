package picture

import (
	"fmt"
	"strings"
	"testing"

	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/layout"
)

// TestARollIsDrawnInStretches: however long the roster, no picture of it is
// higher than what passes in a segment.
func TestARollIsDrawnInStretches(t *testing.T) {
	var takes strings.Builder
	for i := range 300 {
		fmt.Fprintf(&takes, "  - {name: t%d, player: Player Number %d, part: Part %d, expected: true}\n", i, i, i)
	}
	man, err := manifest.Parse("production.yaml",
		[]byte("version: 1\ntitle: Test Round\ntempo: {changes: [{measure: 1, meter: 4/4, bpm: 120}], measures: "+
			"100}\ntakes:\n"+
			takes.String()+"picture: {labels: false, lead_in: 1, tail: 1}\nshots: [{from: m2, show: card, text: "+
			"credits, roll: true}]\n"))
	if err != nil {
		t.Fatal(err)
	}
	pl, err := plan.New(man, nil, []plan.Want{{Name: "final", Canvas: layout.Canvas{W: 640, H: 360}}}, plan.Look{})
	if err != nil {
		t.Fatal(err)
	}
	f := pl.Films[0]
	m := New(nil, nil, pl, &Assets{}, nil)
	drawn, whole := 0, 0
	for _, seg := range f.Segments {
		roll := f.Shots[seg.Shot].Roll
		if roll.Step == 0 {
			continue
		}
		drawn++
		whole += roll.Step * seg.Len()
		if drawn%8 != 0 { // a few will do
			continue
		}
		_, draw := m.roll(f, sceneOf(seg))
		img, err := draw()
		if err != nil {
			t.Fatal(err)
		}
		if b := img.Bounds(); b.Dx() != f.Canvas.W || b.Dy() > f.Canvas.H+roll.Step*10*30 ||
			b.Dy() != f.Canvas.H+roll.Step*(seg.Len()-1) {
			t.Errorf("a segment of %d frames has a picture of %v", seg.Len(), b.Size())
		}
	}
	if drawn < 16 || whole < 5*f.Canvas.H {
		t.Errorf("%d segments pass %d rows", drawn, whole)
	}
}
