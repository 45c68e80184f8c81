package room

import (
	"math"
	"math/bits"

	"ripieno/mix/audio"
)

// delay is a ring of past samples. A step is written first and read after.
type delay struct {
	ring []float64
	at   int // where the next sample goes
}

// newDelay returns a delay that remembers so many frames, silent ones to begin with.
func newDelay(frames int) delay { return delay{ring: make([]float64, frames)} }

// write appends x to the ring, over the oldest samples; x is not longer than the ring.
func (d *delay) write(x []float64) {
	n := copy(d.ring[d.at:], x)
	copy(d.ring, x[n:])
	d.at = (d.at + len(x)) % len(d.ring)
}

// back returns the ring index of the first of the last n written samples, frames
// earlier.
func (d *delay) back(n, frames int) int {
	return ((d.at-n-frames)%len(d.ring) + len(d.ring)) % len(d.ring)
}

// read fills dst with what was written frames before the last len(dst)
// samples.
func (d *delay) read(dst []float64, frames int) {
	n := copy(dst, d.ring[d.back(len(dst), frames):])
	copy(dst[n:], d.ring)
}

// add does what read does but adds gain times the samples to dst.
func (d *delay) add(dst []float64, frames int, gain float64) {
	from := d.back(len(dst), frames)
	n := min(len(dst), len(d.ring)-from)
	for i, v := range d.ring[from : from+n] {
		dst[i] += gain * v
	}
	for i, v := range d.ring[:len(dst)-n] {
		dst[n+i] += gain * v
	}
}

// allpass smears a sound in time and leaves its spectrum alone (Schroeder
// 1962).
type allpass struct {
	ring []float64
	at   int
	gain float64
}

// apply smears x in place.
func (a *allpass) apply(x []float64) {
	for i, v := range x {
		past := a.ring[a.at]
		v = settle(v + a.gain*past)
		a.ring[a.at] = v
		x[i] = past - a.gain*v
		if a.at++; a.at == len(a.ring) {
			a.at = 0
		}
	}
}

// line is one delay line of the tail with its losses.
type line struct {
	ring []float64
	at   int
	gain float64 // of one pass at low frequencies
	pole float64 // of the low-pass that adds the loss at high frequencies
	low  float64 // its memory
}

// newLine returns a line of a length with the losses that make the hall decay by
// 60 dB in its times: 10^(−3·length/decay) a pass. The pole solves
// |(1−p)/(1−p·e^(−jω))| = ratio of the two gains at highHz.
func newLine(frames int, h Hall) line {
	pass := func(decay float64) float64 {
		return math.Pow(10, -3*float64(frames)/(decay*audio.Rate))
	}
	ratio := pass(h.Decay*h.High) / pass(h.Decay)
	pole := 0.0
	if r2 := ratio * ratio; r2 < 1 {
		b := (1 - r2*math.Cos(2*math.Pi*highHz/audio.Rate)) / (1 - r2)
		// Beyond this a first-order low-pass would eat the middle too.
		pole = math.Min(b-math.Sqrt(b*b-1), 0.9)
	}
	return line{ring: make([]float64, frames), gain: pass(h.Decay), pole: pole}
}

// read takes the line's oldest len(dst) samples, with the loss of one pass.
func (l *line) read(dst []float64) {
	n := copy(dst, l.ring[l.at:])
	copy(dst[n:], l.ring)
	feed, low := l.gain*(1-l.pole), l.low
	for i, v := range dst {
		low = settle(feed*v + l.pole*low)
		dst[i] = low
	}
	l.low = low
}

// write puts x, as long as the last read, in their place.
func (l *line) write(x []float64) {
	for i, v := range x {
		x[i] = settle(v)
	}
	n := copy(l.ring[l.at:], x)
	copy(l.ring, x[n:])
	l.at = (l.at + len(x)) % len(l.ring)
}

// lowCut is a first-order high-pass.
type lowCut struct {
	keep       float64
	last, past float64
}

// apply writes the filtered x to y and drops broken samples.
func (f *lowCut) apply(y, x []float64) {
	half := (1 + f.keep) / 2
	for i, v := range x {
		if !(v > -1e6 && v < 1e6) {
			v = 0
		}
		f.past = settle(half*(v-f.last) + f.keep*f.past)
		f.last = v
		y[i] = f.past
	}
}

// settle returns v, or zero when v is too small to matter: −600 dB.
func settle(v float64) float64 {
	if v > -1e-30 && v < 1e-30 {
		return 0
	}
	return v
}

// sign returns +1 or −1 by the parity of the bits of i under mask: a Walsh
// function. Different masks give orthogonal patterns.
func sign(i, mask int) float64 {
	return float64(1 - 2*(bits.OnesCount(uint(i&mask))%2))
}

// hadamard multiplies the sixteen signals by the Hadamard matrix of order 16,
// in place, by four rounds of sums and differences.
func hadamard(w *[lines][]float64, n int) {
	for half := 1; half < lines; half *= 2 {
		for i := range lines {
			if i&half != 0 {
				continue
			}
			a, b := w[i][:n], w[i|half][:n]
			for k, v := range a {
				u := b[k]
				a[k], b[k] = v+u, v-u
			}
		}
	}
}

// tap is one early reflection: from an input channel to an output channel.
type tap struct {
	from, to int
	frames   int
	gain     float64
}

// Geometry of the shoebox at Size 1, in metres. The stage is two points, the
// listener two ears' breadth of microphones.
var (
	hallSize  = [3]float64{18, 27, 11} // width, depth, height
	stage     = [2][3]float64{{5.3, 5, 1.4}, {12.7, 5, 1.4}}
	listeners = [2][3]float64{{8.4, 16.1, 3.1}, {9.6, 16.1, 3.1}}
)

const (
	soundSpeed = 343.0 // m/s in air at 20 °C
	wallGain   = 0.72  // of one reflection
	earlyShare = 1.6   // gain of the reflections beside the tail
)

// reflections returns the first-order mirror images of the stage in the six walls,
// later and softer than the direct sound by their longer way.
func reflections(size float64) []tap {
	var taps []tap
	for from, source := range stage {
		for to, ear := range listeners {
			direct := distance(source, ear)
			for wall := range 6 {
				axis := wall / 2
				image := source
				image[axis] = float64(wall%2)*2*hallSize[axis] - source[axis]
				way := distance(image, ear)
				taps = append(taps, tap{
					from: from, to: to,
					frames: int(math.Round((way - direct) * size / soundSpeed * audio.Rate)),
					gain:   earlyShare * wallGain * direct / way / 6,
				})
			}
		}
	}
	return taps
}

// distance returns how far two places of the room are from each other, in metres.
func distance(a, b [3]float64) float64 {
	return math.Sqrt((a[0]-b[0])*(a[0]-b[0]) + (a[1]-b[1])*(a[1]-b[1]) + (a[2]-b[2])*(a[2]-b[2]))
}
