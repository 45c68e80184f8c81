package robust

import (
	"cmp"
	"math"
	"math/rand/v2"
	"slices"
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

// What selection finds is what sorting puts in that place, whatever the order the values
// come in: equal, rising, falling, some not numbers, in the order that is worst for the
// middle of three.
func TestSelectionIsSorting(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	for _, n := range []int{1, 2, 15, 16, 17, 18, 100, 1001} {
		kinds := map[string][]float64{}
		for i := range n {
			x := float64(i)
			kinds["rising"] = append(kinds["rising"], x)
			kinds["falling"] = append(kinds["falling"], -x)
			kinds["equal"] = append(kinds["equal"], 7)
			kinds["few values"] = append(kinds["few values"], float64(r.IntN(3)))
			kinds["random"] = append(kinds["random"], r.NormFloat64())
			kinds["organ pipes"] = append(kinds["organ pipes"], math.Min(x, float64(n)-x))
			if i%3 == 0 {
				x = math.NaN()
			}
			kinds["not numbers"] = append(kinds["not numbers"], x)
		}
		for name, v := range kinds {
			sorted := slices.Sorted(slices.Values(v))
			for _, k := range []int{0, n / 10, n / 2, n - 1} {
				got, want := nth(slices.Clone(v), k), sorted[k]
				if got != want && !(math.IsNaN(got) && math.IsNaN(want)) {
					t.Errorf("%d %s: place %d holds %g, want %g", n, name, k, got, want)
				}
			}
			moved := slices.Clone(v)
			if got := QuantileOf(moved, 0.3); got != Quantile(v, 0.3) && !math.IsNaN(got) {
				t.Errorf("%d %s: two quantiles", n, name)
			}
			slices.Sort(moved)
			if !slices.EqualFunc(moved, sorted, func(a, b float64) bool { return cmp.Compare(a, b) == 0 }) {
				t.Errorf("%d %s: a value is lost", n, name)
			}
		}
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

// The k-th largest is where sorting puts it, and the smallest when there are fewer.
func TestKthLargest(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 5))
	for range 200 {
		v := make([]float64, 1+r.IntN(90))
		for i := range v {
			v[i] = math.Floor(r.Float64() * 40)
		}
		k := 1 + r.IntN(len(v)+3)
		sorted := slices.Sorted(slices.Values(v))
		want := sorted[max(len(v)-k, 0)]
		if got := KthLargest(slices.Clone(v), k); got != want {
			t.Fatalf("the %dth largest of %v is %g, want %g", k, v, got, want)
		}
	}
}
