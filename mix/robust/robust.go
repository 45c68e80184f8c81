// Package robust has the statistics that a few wrong values do not move: the
// median, quantiles and the spread around the median. It fits no lines and knows
// no units: results are in the unit of the values.
package robust

import (
	"cmp"
	"math"
	"math/bits"
	"slices"
)

// Median returns the middle of v, the mean of the two middle values when their
// number is even, NaN when there are none. It sorts v.
func Median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	n := len(v)
	if n%2 == 1 {
		return v[n/2]
	}
	return (v[n/2-1] + v[n/2]) / 2
}

// normal makes the median absolute deviation of a normal distribution its standard
// deviation: 1/Φ⁻¹(3/4) (P. J. Huber and E. M. Ronchetti, "Robust Statistics",
// 2nd ed., 2009).
const normal = 1.4826

// Spread returns the standard deviation of a normal distribution whose values lie as
// far from its middle as these: away holds absolute distances. NaN when there are
// none. It sorts away.
func Spread(away []float64) float64 { return normal * Median(away) }

// Quantile returns the value of v nearest to the place q, 0 to 1, of its order; of
// two equally near the upper one. v is not empty and stays as it is.
func Quantile[T cmp.Ordered](v []T, q float64) T { return at(v, q*float64(len(v)-1)+0.5) }

// LowerQuantile returns the greatest value of v that is not above the place q, 0 to
// 1, of its order. v is not empty and stays as it is.
func LowerQuantile[T cmp.Ordered](v []T, q float64) T { return at(v, q*float64(len(v)-1)) }

// QuantileOf is [Quantile] without its copy: it leaves v in another order.
func QuantileOf[T cmp.Ordered](v []T, q float64) T { return nth(v, int(q*float64(len(v)-1)+0.5)) }

// KthLargest returns the k-th largest of v, from 1; the smallest when there are fewer. v
// is not empty and is left in another order.
func KthLargest[T cmp.Ordered](v []T, k int) T { return nth(v, len(v)-min(k, len(v))) }

// at returns the value of v whose place in the order is place, rounded down.
func at[T cmp.Ordered](v []T, place float64) T { return nth(slices.Clone(v), int(place)) }

// nth returns the value that would be v[k] if v were sorted, NaN first. It moves the
// values of v about: parts of v in which place k does not lie are not sorted (C. A. R.
// Hoare, "Algorithm 65: find", Comm. ACM 4, 1961). What pivots divide badly is sorted.
func nth[T cmp.Ordered](v []T, k int) T {
	for tries := 2 * bits.Len(uint(len(v))); len(v) > 16 && tries > 0; tries-- {
		pivot := middle(v[0], v[len(v)/2], v[len(v)-1])
		i, j := 0, len(v)-1
		for i <= j {
			for cmp.Less(v[i], pivot) {
				i++
			}
			for cmp.Less(pivot, v[j]) {
				j--
			}
			if i <= j {
				v[i], v[j] = v[j], v[i]
				i, j = i+1, j-1
			}
		}
		switch {
		case k <= j:
			v = v[:j+1]
		case k >= i:
			v, k = v[i:], k-i
		default:
			return v[k]
		}
	}
	slices.Sort(v)
	return v[k]
}

// middle returns the one of three values that lies between the others.
func middle[T cmp.Ordered](a, b, c T) T {
	if cmp.Less(b, a) {
		a, b = b, a
	}
	switch {
	case cmp.Less(c, a):
		return a
	case cmp.Less(b, c):
		return b
	}
	return c
}

// WeightedMedian returns the value below and above which lies half of the weight,
// between the two nearest by how much of the half either has; NaN when empty.
func WeightedMedian(value, weight []float64) float64 {
	order := make([]int, len(value))
	total := 0.0
	for i := range order {
		order[i] = i
		total += weight[i]
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(value[a], value[b]), a-b) })
	sum, last, lastAt := 0.0, math.NaN(), 0.0
	for _, i := range order {
		at := sum + weight[i]/2 // the middle of this one's share
		sum += weight[i]
		if at >= total/2 {
			if math.IsNaN(last) || at == lastAt {
				return value[i]
			}
			return last + (value[i]-last)*(total/2-lastAt)/(at-lastAt)
		}
		last, lastAt = value[i], at
	}
	return last
}

// WeightedSpread returns Spread for distances that count by their weights. It changes
// neither.
func WeightedSpread(away, weight []float64) float64 { return normal * WeightedMedian(away, weight) }
