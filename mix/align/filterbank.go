package align

import (
	"math"

	"ripieno/mix/audio"
)

// workRate is the least sample rate, in hertz, that the analysis runs at. A
// clap has most of its energy between 1 and 6 kHz and a note's onset is heard
// below that, so anything above 7 kHz only costs time.
const workRate = 14000

// mixdown folds channels into one with unequal weights, so that no ordinary
// fault of a stereo recording silences it: in phase 1.6, one dead side 1 or
// 0.6, opposite phase 0.4 of the level, all of which leave onsets in place.
func mixdown(dst []float64, b audio.Block, frames int) []float64 {
	dst = dst[:0]
	if len(b) == 0 {
		return dst
	}
	dst = append(dst, b[0][:frames]...)
	w := 0.6
	for c := 1; c < len(b); c++ {
		for i, v := range b[c][:frames] {
			dst[i] += w * v
		}
		w *= 0.7 // surround channels carry less of the player
	}
	for i, v := range dst {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			dst[i] = 0 // a broken float file must not poison every filter after it
		}
	}
	return dst
}

// decimator lowers the rate by a whole factor with a linear-phase windowed
// sinc. Output sample k is the input at time k·factor/rate, without delay.
type decimator struct {
	factor int
	taps   []float64
	hist   []float64 // input not yet consumed, beginning half a filter early
	next   int       // index in hist where the next output's window begins
}

func newDecimator(rate int) *decimator { return decimateBy(max(1, rate/workRate)) }

// decimateBy returns a decimator by a whole factor, from 1: then it passes everything on.
func decimateBy(factor int) *decimator {
	d := &decimator{factor: factor}
	if d.factor == 1 {
		return d
	}
	// Eight zero crossings a side with a Hann window: the stop band begins at
	// half the new rate plus a little, far below what onsets need.
	half := 8 * d.factor
	cut := 0.88 / float64(d.factor) // of the old Nyquist frequency
	var sum float64
	for i := -half; i <= half; i++ {
		x := cut * float64(i)
		s := 1.0
		if i != 0 {
			s = math.Sin(math.Pi*x) / (math.Pi * x)
		}
		s *= 0.5 + 0.5*math.Cos(math.Pi*float64(i)/float64(half+1))
		d.taps = append(d.taps, s)
		sum += s
	}
	for i := range d.taps {
		d.taps[i] /= sum
	}
	d.hist = make([]float64, half) // silence before the file
	return d
}

// rate returns the rate after decimation of a signal at in hertz.
func (d *decimator) rate(in int) float64 { return float64(in) / float64(d.factor) }

// write appends to out what can be computed once in has been added.
func (d *decimator) write(out, in []float64) []float64 {
	if d.factor == 1 {
		return append(out, in...)
	}
	d.hist = append(d.hist, in...)
	n := len(d.taps)
	for d.next+n <= len(d.hist) {
		out = append(out, dot(d.taps, d.hist[d.next:d.next+n]))
		d.next += d.factor
	}
	if d.next > 1<<14 {
		keep := copy(d.hist, d.hist[min(d.next, len(d.hist)):])
		d.next -= min(d.next, len(d.hist))
		d.hist = d.hist[:keep]
	}
	return out
}

// flush gives the outputs whose window reaches past the end.
func (d *decimator) flush(out []float64) []float64 {
	if d.factor == 1 {
		return out
	}
	return d.write(out, make([]float64, len(d.taps)/2))
}

// dot returns the sum of the products of a and the beginning of b, which is not shorter.
// Four sums let four products run at once; their order is part of every placement's bits.
func dot(a, b []float64) float64 {
	b = b[:len(a)]
	var s0, s1, s2, s3 float64
	i := 0
	for ; i+4 <= len(a); i += 4 {
		s0 += a[i] * b[i]
		s1 += a[i+1] * b[i+1]
		s2 += a[i+2] * b[i+2]
		s3 += a[i+3] * b[i+3]
	}
	for ; i < len(a); i++ {
		s0 += a[i] * b[i]
	}
	return s0 + s1 + s2 + s3
}

// bandEdges are the limits of the analysis bands in hertz: about two thirds
// of an octave each, wide enough that a band's own rise time (1/bandwidth) is
// short against the timing of players.
var bandEdges = [...]float64{90, 170, 290, 480, 800, 1300, 2200, 3800, 6600}

const bandCount = len(bandEdges) - 1

// band is a band-pass of two equal second-order sections, and the delay it
// puts on an energy envelope.
type band struct {
	b0, a1, a2 float64
	z          [2][2]float64
	lag        float64 // seconds
}

// newBand designs the band-pass from lo to hi hertz: the constant peak gain
// form of R. Bristow-Johnson's cookbook of biquad equaliser formulae, twice
// in series. Each section delays the envelope by about 1/(π·bandwidth), the
// group delay of a resonator at its centre.
func newBand(lo, hi, rate float64) *band {
	hi = math.Min(hi, 0.47*rate)
	if lo >= hi*0.9 {
		return nil // above what this file can hold
	}
	f0 := math.Sqrt(lo * hi)
	// Two sections narrow the pass band by about 0.64; widen each for it.
	width := (hi - lo) / 0.64
	w0 := 2 * math.Pi * f0 / rate
	alpha := math.Sin(w0) / (2 * f0 / width)
	a0 := 1 + alpha
	return &band{
		b0:  alpha / a0,
		a1:  -2 * math.Cos(w0) / a0,
		a2:  (1 - alpha) / a0,
		lag: 2 / (math.Pi * width),
	}
}

// filter puts x through two bands, into ya and yb of the same length. What a
// section of a band adds up needs its last sum; with two bands side by side
// the processor has something else to add meanwhile.
func filter(a, b *band, x, ya, yb []float64) {
	ya, yb = ya[:len(x)], yb[:len(x)]
	a00, a01, a10, a11 := a.z[0][0], a.z[0][1], a.z[1][0], a.z[1][1]
	b00, b01, b10, b11 := b.z[0][0], b.z[0][1], b.z[1][0], b.z[1][1]
	for i, v := range x {
		y := a.b0*v + a00
		a00 = a01 - a.a1*y
		a01 = -a.b0*v - a.a2*y
		ya[i] = a.b0*y + a10
		a10 = a11 - a.a1*ya[i]
		a11 = -a.b0*y - a.a2*ya[i]

		y = b.b0*v + b00
		b00 = b01 - b.a1*y
		b01 = -b.b0*v - b.a2*y
		yb[i] = b.b0*y + b10
		b10 = b11 - b.a1*yb[i]
		b11 = -b.b0*y - b.a2*yb[i]
	}
	a.z = [2][2]float64{{a00, a01}, {a10, a11}}
	b.z = [2][2]float64{{b00, b01}, {b10, b11}}
}
