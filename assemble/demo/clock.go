package demo

import (
	"math"

	"ripieno/assemble/demo/instrument"
)

// The interpolator that hears the air at the device's own moments. It is made
// here and not taken from the mix, so that a mistake in either shows.
const (
	taps   = 32  // samples that go into one
	phases = 512 // positions between two samples, straight lines between them
	beta   = 9.0 // of the Kaiser window: stop band below -90 dB
)

// kernel returns a low-pass at cutoff, 1 = half the rate of the air: row p is for a
// moment p/phases of a sample after the sample before it.
func kernel(cutoff float64) [][taps]float64 {
	rows := make([][taps]float64, phases+1)
	for p := range rows {
		sum := 0.0
		for k := range taps {
			d := float64(p)/phases - float64(k-taps/2+1)
			w := math.Max(1-d*d/(taps*taps/4), 0)
			x := math.Pi * cutoff * d
			s := 1.0
			if x != 0 {
				s = math.Sin(x) / x
			}
			rows[p][k] = s * bessel(beta*math.Sqrt(w)) / bessel(beta)
			sum += rows[p][k]
		}
		for k := range rows[p] {
			rows[p][k] /= sum // exactly 1 at 0 Hz
		}
	}
	return rows
}

// bessel returns the modified Bessel function I0, by its power series.
func bessel(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1; term > 1e-12*sum; k++ {
		term *= x / 2 / float64(k)
		sum += term * term
		if term*term < 1e-15*sum {
			break
		}
	}
	return sum
}

// sample fills dst, whose sample i is made at guide time guide(i/rate), from
// src, whose sample j is at start + j/[instrument.Rate].
func (c clock) sample(dst []float64, rate int, src []float64, start, gain float64) {
	rows := kernel(0.94 * min(1, float64(rate)/instrument.Rate))
	for i := range dst {
		at := (c.guide(float64(i)/float64(rate)) - start) * instrument.Rate
		j := math.Floor(at)
		f, p := math.Modf((at - j) * phases)
		first := int(j) - taps/2 + 1
		if first < 0 || first+taps > len(src) {
			continue // no air there; record asks for none
		}
		a, b := &rows[int(f)], &rows[min(int(f)+1, phases)]
		va, vb := 0.0, 0.0
		for k, x := range src[first : first+taps] {
			va += a[k] * x
			vb += b[k] * x
		}
		dst[i] += gain * (va + (vb-va)*p)
	}
}
