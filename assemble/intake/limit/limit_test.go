package limit

import (
	"math"
	"testing"
)

// Sureness is one half on the threshold, 0.9 at the spread, and grows.
func TestSure(t *testing.T) {
	l := Standard()
	last := 0.0
	for _, c := range []struct{ past, want float64 }{{-1, 0.5}, {0, 0.5}, {4, 0.9}, {8, 0.98}, {math.Inf(1), 1}} {
		got := l.sure(SoftAsk, c.past)
		if math.Abs(got-c.want) > 0.001 || got < last {
			t.Errorf("%g past: %g, want %g", c.past, got, c.want)
		}
		last = got
	}
}
