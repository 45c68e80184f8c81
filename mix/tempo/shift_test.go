package tempo_test

import (
	"math"
	"testing"

	"ripieno/mix/tempo"
)

// TestShiftAndNearestBeat counts by hand: a measure of count-in and one of the piece with
// beats of half a second, then one with beats of a second. The piece begins at 2 s.
func TestShiftAndNearestBeat(t *testing.T) {
	four, _ := tempo.ParseMeter("4/4")
	m, err := tempo.New(tempo.Spec{CountIn: tempo.CountIn{Measures: 1}, Measures: 2, Changes: []tempo.Change{
		{Measure: 1, Meter: four, BPM: 120}, {Measure: 2, BPM: 60}}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range [][3]float64{
		{2, 1, 2.5}, {2, -1, 1.5}, {3.5, 1, 4}, {3.5, 2, 5}, {3.75, 1, 4.5}, {5, -3, 3}, {4.5, -1, 3.75},
		{0, -2, -1}, {8, 2, 10}, {2, 0, 2},
	} {
		if got := m.Shift(c[0], c[1]); math.Abs(got-c[2]) > 1e-9 {
			t.Errorf("%g beats behind %g: %g, want %g", c[1], c[0], got, c[2])
		}
	}
	for _, c := range [][2]float64{
		{1.4, 1.4}, {2.2, 2}, {2.3, 2.5}, {3.8, 4}, {4.4, 4}, {4.6, 5}, {7.9, 8}, {8.3, 8.3},
	} {
		if got := m.NearestBeat(c[0]); math.Abs(got-c[1]) > 1e-9 {
			t.Errorf("nearest to %g: %g, want %g", c[0], got, c[1])
		}
	}
}
