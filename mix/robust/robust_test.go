package robust

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestMedian(t *testing.T) {
	for _, c := range []struct {
		v    []float64
		want float64
	}{{[]float64{3, 1, 2}, 2}, {[]float64{4, 1, 2, 3}, 2.5}, {[]float64{7}, 7}} {
		if got := Median(c.v); got != c.want {
			t.Errorf("median of %v is %g, want %g", c.v, got, c.want)
		}
	}
	if !math.IsNaN(Median(nil)) {
		t.Error("the median of nothing should be NaN")
	}
}

func TestWeightedMedian(t *testing.T) {
	for _, c := range []struct {
		v, w []float64
		want float64
	}{
		{nil, nil, math.NaN()}, {[]float64{3}, []float64{2}, 3}, {[]float64{5, 1}, []float64{1, 1}, 3},
		{[]float64{1, 2, 9}, []float64{1, 1, 1}, 2}, {[]float64{9, 1, 2}, []float64{100, 1, 1}, 9 - 7*(52-51)/50.5},
	} {
		if got := WeightedMedian(c.v, c.w); math.Abs(got-c.want) > 1e-9 && !(math.IsNaN(got) && math.IsNaN(c.want)) {
			t.Errorf("%v by %v: %g, want %g", c.v, c.w, got, c.want)
		}
	}
}

// A quantile is a value of the list; the upper and the lower one differ by at most
// one place, and neither changes the list.
func TestQuantiles(t *testing.T) {
	v := []float64{40, 10, 30, 20}
	for _, c := range []struct{ q, want, lower float64 }{
		{0, 10, 10}, {0.16, 10, 10}, {0.17, 20, 10}, {0.34, 20, 20}, {0.5, 30, 20}, {0.9, 40, 30}, {1, 40, 40},
	} {
		if got := Quantile(v, c.q); got != c.want {
			t.Errorf("quantile %g is %g, want %g", c.q, got, c.want)
		}
		if got := LowerQuantile(v, c.q); got != c.lower {
			t.Errorf("lower quantile %g is %g, want %g", c.q, got, c.lower)
		}
	}
	if v[0] != 40 || v[3] != 20 {
		t.Errorf("the list became %v", v)
	}
}

// The spread of normal noise is its standard deviation, whatever a tenth of wrong
// values says.
func TestSpread(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var away, weight []float64
	for i := range 20000 {
		x := 3 * r.NormFloat64()
		if i%50 == 0 {
			x = 1e6
		}
		away, weight = append(away, math.Abs(x)), append(weight, 1)
	}
	if by, plain := WeightedSpread(away, weight), Spread(away); math.Abs(plain-3) > 0.15 || math.Abs(by-plain) > 0.01 {
		t.Errorf("spreads %g and %g, want 3", plain, by)
	}
}
