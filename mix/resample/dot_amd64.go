package resample

import "golang.org/x/sys/cpu"

// The inner products take most of the time of a mix, and Go has no vectors.
// These run four lanes at once where the processor can (AVX2) and give the
// same bits as the Go code, which a test holds them to.
var vectors = cpu.X86.HasAVX2

// dotAVX does what dotGo does, for n products, a multiple of 8.
//
//go:noescape
func dotAVX(x, a *float64, n int) float64

// doubleAVX does what doubleGo does, for n samples, a multiple of 4, that begin with the last of
// a filter of so many taps.
//
//go:noescape
func doubleAVX(y, last, half *float64, n, taps int)

// pickAVX does what pickGo does, at n spots with taps, a multiple of 4, at each.
//
//go:noescape
func pickAVX(y, x, rows *float64, spots *spot, n, taps int)

// dot returns Σ x·a over equally long slices.
func dot(x, a []float64) float64 {
	n := len(a)
	if !vectors || n == 0 || n%8 != 0 || len(x) < n {
		return dotGo(x, a)
	}
	return dotAVX(&x[0], &a[0], n)
}

// pick reads x at spots: see pickGo.
func pick(y, x, rows []float64, spots []spot, taps int) {
	if !vectors || taps%4 != 0 || len(spots) == 0 {
		pickGo(y, x, rows, spots, taps)
		return
	}
	pickAVX(&y[0], &x[0], &rows[0], &spots[0], len(spots), taps)
}

// double writes the samples of x and the wave between them: see doubleGo.
func double(y, x, half []float64) {
	n := 0
	if vectors && len(half)%4 == 0 {
		if n = (len(y) / 2) &^ 3; n > 0 {
			doubleAVX(&y[0], &x[len(half)-1], &half[0], n, len(half))
		}
	}
	doubleGo(y[2*n:], x[n:], half)
}
