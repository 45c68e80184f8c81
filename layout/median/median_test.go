package median

import (
	"math"
	"slices"
	"testing"
)

// Worked by hand: the third of five, the third of four, the only one.
func TestOf(t *testing.T) {
	for _, c := range []struct {
		v    []float64
		want float64
	}{
		{[]float64{5, 1, 4, 2, 3}, 3}, {[]float64{4, 1, 3, 2}, 3}, {[]float64{7}, 7},
		{[]float64{math.NaN(), 2, 1}, 1}, {[]float64{math.Inf(1), math.Inf(-1), 0}, 0},
	} {
		before := slices.Clone(c.v)
		if got := Of(c.v); got != c.want {
			t.Errorf("median of %v is %g, want %g", before, got, c.want)
		}
		if !slices.EqualFunc(before, c.v, func(a, b float64) bool { return a == b || a != a && b != b }) {
			t.Errorf("%v became %v", before, c.v)
		}
	}
	if got := Of([]int{9, 8}); got != 9 {
		t.Errorf("median of 8 and 9 is %d, want the upper one", got)
	}
}
