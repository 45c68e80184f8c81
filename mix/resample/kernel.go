package resample

import (
	"math"
	"sync"

	"ripieno/mix/fourier"
)

// The design figures of the filters. Rejection and length follow Kaiser's
// formulas (Kaiser 1974, as in Oppenheim and Schafer, "Discrete-Time Signal
// Processing", section on the Kaiser window).
const (
	rejection = 133.0   // dB of stop band: below the noise of 21 bits
	passband  = 20000.0 // Hz kept flat where the rates allow it
	// keep is the passband as a share of the lower rate's half where 20 kHz
	// does not fit: the same share as 20 kHz has at 44.1 kHz.
	keep = passband / 22050
	// grid is how many phases a table has per sample. The error of straight
	// lines between them is (2π·f/rate/grid)²/8 for a tone of f; at the
	// doubled rate of 96 kHz that is −172 dB at 1 kHz and −120 dB at 20 kHz.
	grid = 512
)

// kernel is a Kaiser-windowed sinc.
type kernel struct {
	taps   int     // even
	cutoff float64 // −6 dB, in cycles per sample
}

// passOf returns the highest frequency kept between two rates.
func passOf(from, to int) float64 {
	return math.Min(passband, keep*float64(min(from, to))/2)
}

// direct returns the filter that turns one rate into another in one step: flat up
// to the passband, −6 dB at half the lower rate, and down by rejection as far
// above it as the passband lies below. What may fold back lands above the
// passband.
func direct(from, to int) kernel {
	half := float64(min(from, to)) / 2
	return newKernel(passOf(from, to), 2*half-passOf(from, to), float64(from), 2)
}

// newKernel returns flat up to pass and down by rejection from stop, at a sample
// rate, with a number of taps that multiple divides.
func newKernel(pass, stop, rate float64, multiple int) kernel {
	taps := int(math.Ceil((rejection - 7.95) / (14.36 * (stop - pass) / rate)))
	return kernel{taps: (taps + multiple - 1) / multiple * multiple, cutoff: (pass + stop) / 2 / rate}
}

// left returns how many samples before the whole part of a position the filter
// begins.
func (k kernel) left() int { return k.taps/2 - 1 }

// row fills c with the coefficients for a position that lies part (0..1) of a
// sample after the sample with index left. They are scaled to a gain of 1 at
// 0 Hz, which also removes the ripple there.
func (k kernel) row(c []float64, part float64) {
	const beta = 0.1102 * (rejection - 8.7)
	half, scale := float64(k.taps)/2, 1/fourier.BesselI0(beta)
	var sum float64
	for i := range c {
		t := float64(i-k.left()) - part
		r := t / half
		c[i] = 0
		if r > -1 && r < 1 {
			c[i] = sinc(2*k.cutoff*t) * fourier.BesselI0(beta*math.Sqrt(1-r*r)) * scale
		}
		sum += c[i]
	}
	for i := range c {
		c[i] /= sum
	}
}

// table is a kernel at every phase of a grid, with one row more so that every
// phase has a next one.
type table struct {
	kernel
	phases int
	rows   []float64
}

// tables keeps the tables made so far: strips of the same rate share one.
// There are few pairs of rates in a production, so nothing is ever dropped.
var tables struct {
	sync.Mutex
	made map[kernel]*table
}

// tableOf returns the table of a kernel. A kernel that is stretched to a low cutoff
// needs fewer phases a sample.
func tableOf(k kernel) *table {
	tables.Lock()
	defer tables.Unlock()
	if t := tables.made[k]; t != nil {
		return t
	}
	t := &table{kernel: k, phases: max(64, int(math.Ceil(grid*min(1, 4*k.cutoff))))}
	t.rows = make([]float64, (t.phases+1)*k.taps)
	for p := range t.phases + 1 {
		k.row(t.rows[p*k.taps:(p+1)*k.taps], float64(p)/float64(t.phases))
	}
	if tables.made == nil {
		tables.made = map[kernel]*table{}
	}
	tables.made[k] = t
	return t
}

// sinc returns sin(πt)/(πt), and 1 at 0.
func sinc(t float64) float64 {
	if t == 0 {
		return 1
	}
	return math.Sin(math.Pi*t) / (math.Pi * t)
}
