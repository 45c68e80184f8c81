package align

import (
	"math"
	"testing"
)

// Every event of a long take counts: played on the beat to its end it fits three times
// as well as one of a third of its length, however many events that are.
func TestEveryEventCounts(t *testing.T) {
	g := newGrid(piece(t, 2000, 4, 200))
	fit := func(n int) float64 {
		k := &take{f: &Features{Events: make([]Event, n)}, weight: make([]float64, n)}
		for i := range n {
			k.f.Events[i].Time, k.weight[i] = float64(i)*60/200, 1
		}
		like, _, _ := k.gridScore(g, 0)
		return like
	}
	few, many := fit(2000), fit(6000)
	if few <= 0 || math.Abs(many/few-3) > 0.05 {
		t.Errorf("2000 events fit by %g, 6000 by %g, want three times as much", few, many)
	}
}
