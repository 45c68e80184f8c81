package tempo_test

import (
	"fmt"

	"ripieno/mix/tempo"
)

// A piece in cut time that slows down into 6/8, with eight measures of
// count-in and a pick-up of one beat.
func Example() {
	cut, _ := tempo.ParseMeter("2/2")
	six, _ := tempo.ParseMeter("6/8")
	m, err := tempo.New(tempo.Spec{
		CountIn:  tempo.CountIn{Measures: 8},
		PickUp:   1,
		Measures: 24,
		Changes: []tempo.Change{
			{Measure: 1, Meter: cut, BPM: 60},
			{Measure: 13, RampTo: 40, Until: 17},
			{Measure: 17, Meter: six, BPM: 80},
		},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	at, _ := m.Seconds(tempo.Position{Measure: 17, Beat: 1})
	fmt.Printf("clap at %.3f s, play from %.3f s, 6/8 from %.3f s to %.3f s\n", m.Cue(), m.Start(), at, m.End())
	fmt.Println(m.Position(20))
	// Output:
	// clap at 8.000 s, play from 15.000 s, 6/8 from 49.731 s to 61.731 s
	// measure 3
}

// Each fault says where it is and what to do.
func ExampleErrors() {
	cut, _ := tempo.ParseMeter("2/2")
	_, err := tempo.New(tempo.Spec{Measures: 8, Changes: []tempo.Change{
		{Measure: 1, Meter: cut, BPM: 88},
		{Measure: 5, RampTo: 60},
		{Measure: 12, BPM: 100},
	}})
	for _, e := range tempo.Errors(err) {
		fmt.Println(e.What)
		if e.Hint != "" {
			fmt.Println("  hint:", e.Hint)
		}
	}
	// Output:
	// measure 5: ramp_to without until
	//   hint: say at which measure the ramp ends
	// measure 12 is not in the piece, which has measures 1 to 8
}

// The beat of a meter is the one that a conductor shows.
func ExampleParseMeter() {
	for _, s := range []string{"4/4", "6/8", "3+2/8", "6/8 in 6"} {
		m, err := tempo.ParseMeter(s)
		if err != nil {
			fmt.Println(err)
			return
		}
		fmt.Printf("%s: %d beats, %.4g quarters\n", m, m.Beats(), m.Quarters())
	}
	// Output:
	// 4/4: 4 beats, 4 quarters
	// 6/8: 2 beats, 3 quarters
	// 3+2/8: 2 beats, 2.5 quarters
	// 6/8 in 6: 6 beats, 3 quarters
}

// Two measures of count-in, the cue in the second, and one measure of music.
func ExampleMap_Beats() {
	waltz, _ := tempo.ParseMeter("3/4")
	m, err := tempo.New(tempo.Spec{
		CountIn:  tempo.CountIn{Measures: 2},
		Measures: 1,
		Changes:  []tempo.Change{{Measure: 1, Meter: waltz, BPM: 120}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for b := range m.Beats() {
		if !b.Downbeat {
			continue
		}
		fmt.Printf("%.1f s: measure %d, count-in %v, cue %v\n", b.Seconds, b.Measure, b.CountIn, b.Cue)
	}
	// Output:
	// 0.0 s: measure 1, count-in true, cue false
	// 1.5 s: measure 2, count-in true, cue true
	// 3.0 s: measure 1, count-in false, cue false
}

// Where a measure begins, with a fermata of two seconds before it.
func ExampleMap_Seconds() {
	four, _ := tempo.ParseMeter("4/4")
	m, err := tempo.New(tempo.Spec{
		Measures: 4,
		Changes:  []tempo.Change{{Measure: 1, Meter: four, BPM: 60}},
		Holds:    []tempo.Hold{{At: tempo.Position{Measure: 2, Beat: 4}, Seconds: 2}},
	})
	if err != nil {
		fmt.Println(err)
		return
	}
	for _, measure := range []int{2, 3, 9} {
		at, err := m.Seconds(tempo.Position{Measure: measure, Beat: 1})
		fmt.Println(at, err)
	}
	// Output:
	// 4 <nil>
	// 10 <nil>
	// NaN measure 9 is past the end: the piece has 4 measures
}

// A repeat written out: the first two of three measures are played twice.
func ExampleMap_Excerpt() {
	four, _ := tempo.ParseMeter("4/4")
	page, err := tempo.New(tempo.Spec{Measures: 3, Changes: []tempo.Change{{Measure: 1, Meter: four, BPM: 60}}})
	if err != nil {
		fmt.Println(err)
		return
	}
	spec, err := page.Excerpt(tempo.Span{From: 1, To: 2}, tempo.Span{From: 1, To: 3})
	if err != nil {
		fmt.Println(err)
		return
	}
	played, err := tempo.New(spec)
	if err != nil {
		fmt.Println(err)
		return
	}
	fmt.Println(page.End(), "s on the page,", played.End(), "s as played")
	// Output:
	// 12 s on the page, 20 s as played
}
