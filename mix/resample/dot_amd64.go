package resample

import "golang.org/x/sys/cpu"

// The inner products take most of the time of a mix, and Go has no vectors.
// These run four lanes at once where the processor can (AVX2) and give the
// same bits as the Go code, which a test holds them to.
var vectors = cpu.X86.HasAVX2

//go:noescape
func dot2AVX(x, a, b *float64, n int) (s, t float64)

//go:noescape
func dotAVX(x, a *float64, n int) float64

//go:noescape
func betweenAVX(last, after, half *float64, n int) float64

// dot is Σ x·a over equally long slices.
func dot(x, a []float64) float64 {
	n := len(a)
	if !vectors || n == 0 || n%8 != 0 || len(x) < n {
		return dotGo(x, a)
	}
	return dotAVX(&x[0], &a[0], n)
}

// dot2 is dot for two rows at once. Lengths are a multiple of 4.
func dot2(x, a, b []float64) (float64, float64) {
	n := len(a)
	if !vectors || n == 0 || n%4 != 0 || len(x) < n || len(b) < n {
		return dot2Go(x, a, b)
	}
	return dot2AVX(&x[0], &a[0], &b[0], n)
}

// between is the wave half-way between the last of before and the first of
// after: Σ half[j]·(before[last−j] + after[j]). The length of half is a
// multiple of 4.
func between(before, after, half []float64) float64 {
	n := len(half)
	if !vectors || n == 0 || n%4 != 0 || len(before) < n || len(after) < n {
		return betweenGo(before, after, half)
	}
	return betweenAVX(&before[n-1], &after[0], &half[0], n)
}
