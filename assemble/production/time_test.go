package production

import (
	"math"
	"slices"
	"testing"
	"testing/quick"
)

// The film's beginning comes before every moment and its end after every moment,
// whatever seconds stand in them; a moment is not before itself.
func TestOrderOfTimes(t *testing.T) {
	at := func(s float64) Time { return Time{Seconds: s} }
	start, end := Time{Edge: FilmStart, Seconds: 1e9}, Time{Edge: FilmEnd, Seconds: -1e9}
	order := []Time{start, at(math.Inf(-1)), at(-3), at(0), at(math.SmallestNonzeroFloat64), at(12.5), at(math.Inf(1)),
		end}
	for i, a := range order {
		for j, b := range order {
			want := 0
			if i < j {
				want = -1
			} else if i > j {
				want = 1
			}
			if got := CompareTimes(a, b); got != want {
				t.Errorf("%d against %d: %d, want %d", i, j, got, want)
			}
			if got := a.Before(b); got != (i < j) {
				t.Errorf("%d before %d: %v", i, j, got)
			}
		}
	}
	if at(0).Before(at(math.Copysign(0, -1))) || at(math.NaN()).Before(at(1)) || at(1).Before(at(math.NaN())) {
		t.Error("a zero has no sign, and what is no number comes before nothing")
	}
}

// Times have one order whatever order they come in, as sorting by it needs.
func TestTimesAreSorted(t *testing.T) {
	sorted := func(seconds []float64, edges []uint8) bool {
		var list []Time
		for i, s := range seconds {
			x := Time{Seconds: s}
			if i < len(edges) {
				x.Edge = Edge(edges[i] % 3)
			}
			list = append(list, x)
		}
		turned := slices.Clone(list)
		slices.Reverse(turned)
		slices.SortFunc(list, CompareTimes)
		slices.SortFunc(turned, CompareTimes)
		for i := range list {
			if CompareTimes(list[i], turned[i]) != 0 || i > 0 && list[i].Before(list[i-1]) {
				return false
			}
		}
		return true
	}
	if err := quick.Check(sorted, nil); err != nil {
		t.Error(err)
	}
}
