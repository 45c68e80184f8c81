package plan_test

import (
	"fmt"

	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/layout"
)

// lamplighter returns a production of three takes and four measures.
func lamplighter() (*production.Production, error) {
	return manifest.Parse("production.yaml", []byte(`version: 1
title: The Lamplighter's Round
tempo: {count_in: {measures: 2}, changes: [{measure: 1, meter: 4/4, bpm: 60}], measures: 4}
takes:
  - {name: oboe, expected: true}
  - {name: cello, seat: 1, expected: true}
  - {name: horn, expected: true}
picture: {fps: 25, lead_in: 2, tail: 1}
`))
}

// The film begins two seconds before measure 1, which is at 8 s of guide time,
// and ends one second after the last measure.
func ExampleNewTimeline() {
	p, err := lamplighter()
	if err != nil {
		fmt.Println(err)
		return
	}
	t, err := plan.NewTimeline(p)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println("output time 0 is guide time", t.GuideAtZero())
	fmt.Println(t.Frames, "frames,", t.Duration(), "s")
	fmt.Println("measure 1 begins in frame", t.Output(p.Tempo.Start()))
	// Output:
	// output time 0 is guide time 6
	// 475 frames, 19 s
	// measure 1 begins in frame 50
}

// Seats that the manifest writes come first; the other takes fill what is left
// in their order.
func ExamplePlaces() {
	p, err := lamplighter()
	if err != nil {
		fmt.Println(err)
		return
	}
	places := plan.Places(p)
	for _, t := range p.Takes {
		fmt.Println(t.Name, "sits at", places[t.Name])
	}
	// Output:
	// oboe sits at 2
	// cello sits at 1
	// horn sits at 3
}

// A picture on its way through a transition of five frames: in the first, what leaves
// goes, and in the last, what is new comes.
func ExamplePhases_Way() {
	from, to := layout.Rect{X: 0, Y: 0, W: 320, H: 180}, layout.Rect{X: 640, Y: 360, W: 640, H: 360}
	p := plan.Phases{Leave: 1, Glide: 3, Arrive: 1}
	for k := range 5 {
		fmt.Println(p.Way(from, to, k))
	}
	// Output:
	// {0 0 320 180}
	// {100 56 370 208}
	// {320 180 480 270}
	// {540 304 590 332}
	// {640 360 640 360}
}
