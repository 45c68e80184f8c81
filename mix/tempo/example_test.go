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
