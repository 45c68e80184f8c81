package playing

import (
	"math"
	"math/cmplx"

	"gonum.org/v1/gonum/dsp/fourier"
)

// aperiodic is the threshold of the normalised difference below which a window
// counts as one tone; the paper takes 0.1, and rooms and breath need a little
// more.
const aperiodic = 0.18

const fftSize = 2048 // at least frame

// yin finds the period of a window.
type yin struct {
	fft     *fourier.FFT
	a, b    []float64
	fa, fb  []complex128
	corr    []float64
	energy  []float64 // energy[t] of x[t:t+window]
	diff    []float64
	cumnorm []float64
}

// newYIN returns the memory of a measurement.
func newYIN() *yin {
	return &yin{
		fft: fourier.NewFFT(fftSize), a: make([]float64, fftSize), b: make([]float64, fftSize),
		fa: make([]complex128, fftSize/2+1), fb: make([]complex128, fftSize/2+1), corr: make([]float64, fftSize),
		energy: make([]float64, longest+1), diff: make([]float64, longest+1), cumnorm: make([]float64, longest+1),
	}
}

// measure returns the period of x (frame samples) in samples, 0 when it has
// none, and the level of its window in dBFS.
func (y *yin) measure(x []float64) (period, level float64) {
	sum := 0.0
	for _, v := range x[:window] {
		sum += v * v
	}
	level = 10 * math.Log10(sum/window+1e-20)
	if level < -80 {
		return 0, level
	}
	y.difference(x, sum)
	lag := y.dip()
	if lag == 0 {
		return 0, level
	}
	return y.sharpen(lag), level
}

// difference returns d(τ) = Σ (x[j] − x[j+τ])² over the window, by correlation, and
// its cumulative mean normalised form (equations 6 and 8 of the paper).
func (y *yin) difference(x []float64, energy float64) {
	clear(y.a)
	copy(y.a, x[:window])
	clear(y.b)
	copy(y.b, x)
	y.fft.Coefficients(y.fa, y.a)
	y.fft.Coefficients(y.fb, y.b)
	for i := range y.fa {
		y.fa[i] = cmplx.Conj(y.fa[i]) * y.fb[i]
	}
	y.fft.Sequence(y.corr, y.fa)
	moving, total := energy, 0.0
	y.cumnorm[0] = 1
	for t := 1; t <= longest; t++ {
		moving += x[t+window-1]*x[t+window-1] - x[t-1]*x[t-1]
		y.diff[t] = max(0, energy+moving-2*y.corr[t]/fftSize)
		total += y.diff[t]
		y.cumnorm[t] = 1
		if total > 0 {
			y.cumnorm[t] = y.diff[t] * float64(t) / total
		}
	}
}

// dip returns the lag of the first dip below the threshold, 0 for none.
func (y *yin) dip() int {
	for t := shortest; t < longest; t++ {
		if y.cumnorm[t] >= aperiodic {
			continue
		}
		for t+1 < longest && y.cumnorm[t+1] < y.cumnorm[t] {
			t++
		}
		if t+1 >= longest {
			return 0 // still falling: the period is longer than we look
		}
		return t
	}
	return 0
}

// sharpen interpolates the dip at lag, and then those at multiples of the
// period up to reach, where the same error of the lag is a smaller one of the
// period. It stops where the tone no longer repeats itself as well.
func (y *yin) sharpen(lag int) float64 {
	const reach = 320 // samples, 20 ms: little against a vibrato's 160
	period, depth := y.vertex(lag)
	for k := 2; ; k++ {
		at := int(math.Round(float64(k) * period))
		if at > reach {
			return period
		}
		for _, near := range []int{at - 1, at + 1} {
			if y.diff[near] < y.diff[at] {
				at = near
			}
		}
		if y.diff[at] > y.diff[at-1] || y.diff[at] > y.diff[at+1] {
			return period
		}
		v, d := y.vertex(at)
		// A difference that grows far beyond what it was at the first dip is a
		// change of the tone, or a lag that is no multiple.
		if d > 4*depth+0.1*y.corr[0]/fftSize || math.Abs(v/float64(k)-period) > 1.5/float64(k) {
			return period
		}
		period = v / float64(k)
	}
}

// vertex returns the parabola through the difference about a lag: where its lowest
// point lies and how low that is.
func (y *yin) vertex(t int) (at, low float64) {
	a, b, c := y.diff[t-1], y.diff[t], y.diff[t+1]
	bend := a - 2*b + c
	if bend <= 0 {
		return float64(t), b
	}
	shift := 0.5 * (a - c) / bend
	return float64(t) + shift, max(0, b-0.25*(a-c)*shift)
}
