package loudness

import (
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/fourier"
)

// Interpolator reads the height of the wave between two samples. BS.1770-4
// annex 2 asks for at least fourfold oversampling; its example filter of 12
// taps reads 0.6 dB too much near the band edge, so this one is a
// Kaiser-windowed sinc of 32 taps, flat within 0.04 dB up to 0.44 of the
// sample rate. What is left is the grid: a tone of frequency f under-reads by
// at most 20·log10(cos(π·f/(n·rate))).
//
// It has no state and may be used by many goroutines.
type Interpolator struct {
	factor int
	// Mirrored phases k and factor−k share their products: with
	// e[j] = x[mid-1-j] + x[mid+j] and o[j] their difference, phase k is
	// Σ even·e + Σ odd·o and its mirror Σ even·e − Σ odd·o.
	even, odd [][]float64
	bound     float64
}

// Reach is how many samples the interpolator needs on each side of a gap.
const Reach = 16

// interpolatorBeta trades the steepness of the band edge against ripple: 5
// gives 55 dB of rejection (Kaiser's formula 0.1102·(A−8.7)); two sides of it
// add up to 0.04 dB at worst.
const interpolatorBeta = 5.0

// NewInterpolator reads factor−1 points in every gap between two samples.
// A factor under 1 counts as 1, which reads none.
func NewInterpolator(factor int) *Interpolator {
	in := &Interpolator{factor: max(factor, 1), bound: 1}
	for k := 1; 2*k <= in.factor; k++ {
		even, odd := make([]float64, Reach), make([]float64, Reach)
		var sum, size float64
		left, right := make([]float64, Reach), make([]float64, Reach)
		at := float64(k) / float64(in.factor)
		for j := range Reach {
			left[j] = windowedSinc(at + float64(j))
			right[j] = windowedSinc(float64(j) + 1 - at)
			sum += left[j] + right[j]
			size += math.Abs(left[j]) + math.Abs(right[j])
		}
		for j := range Reach {
			even[j] = (left[j] + right[j]) / (2 * sum)
			odd[j] = (left[j] - right[j]) / (2 * sum)
		}
		in.even, in.odd = append(in.even, even), append(in.odd, odd)
		in.bound = max(in.bound, size/sum)
	}
	in.bound *= 1 + 1e-9 // rounding must not make a skipped gap matter
	return in
}

// Bound returns the largest factor by which the wave between samples can exceed the
// largest sample within [Reach]: the norm of the filter. Where the samples
// times Bound stay under a limit, nothing has to be interpolated.
func (in *Interpolator) Bound() float64 { return in.bound }

// Peak returns the largest magnitude of the wave at the interpolated points between
// x[Reach-1] and x[Reach], the two samples themselves left out. x holds
// 2·Reach finite samples.
func (in *Interpolator) Peak(x []float64) float64 {
	before, after := (*[Reach]float64)(x), (*[Reach]float64)(x[Reach:])
	var e, o [Reach]float64
	for j := range Reach {
		a, b := before[Reach-1-j], after[j]
		e[j], o[j] = a+b, a-b
	}
	var peak float64
	for k := range in.even {
		even, odd := (*[Reach]float64)(in.even[k]), (*[Reach]float64)(in.odd[k])
		var s0, s1, d0, d1 float64
		for j := 0; j < Reach; j += 2 {
			s0 += even[j] * e[j]
			s1 += even[j+1] * e[j+1]
			d0 += odd[j] * o[j]
			d1 += odd[j+1] * o[j+1]
		}
		// The larger of |s+d| and |s−d| is |s|+|d|.
		peak = max(peak, math.Abs(s0+s1)+math.Abs(d0+d1))
	}
	return peak
}

// windowedSinc returns sinc(t) under a Kaiser window that ends at ±Reach.
func windowedSinc(t float64) float64 {
	if t == 0 {
		return 1
	}
	r := t / Reach
	if r >= 1 {
		return 0
	}
	return math.Sin(math.Pi*t) / (math.Pi * t) * fourier.BesselI0(interpolatorBeta*math.Sqrt(1-r*r)) / fourier.BesselI0(
		interpolatorBeta)
}

// Peaks follows the highest peaks of a programme. The zero value is not usable;
// make it with [NewPeaks].
type Peaks struct{ channels []*peaks }

// NewPeaks returns a peak meter with the oversampling that [Meter] has.
func NewPeaks(channels, rate int) *Peaks {
	in := NewInterpolator(oversampling(rate))
	p := &Peaks{channels: make([]*peaks, channels)}
	for c := range p.channels {
		p.channels[c] = newPeaks(in)
	}
	return p
}

// Write takes the next frames; channels too many are ignored.
func (p *Peaks) Write(b audio.Block) {
	for c := range min(len(b), len(p.channels)) {
		p.channels[c].write(b[c])
	}
}

// True returns the highest true peak so far in dBTP, as if silence followed; −Inf
// in silence.
func (p *Peaks) True() audio.Decibels {
	var high float64
	for _, c := range p.channels {
		high = max(high, c.peak())
	}
	return audio.DecibelsOf(high)
}

// Sample returns the largest magnitude of a sample so far in dBFS; −Inf in silence.
func (p *Peaks) Sample() audio.Decibels {
	var high float64
	for _, c := range p.channels {
		high = max(high, c.sample)
	}
	return audio.DecibelsOf(high)
}

// peaks follows the true peak of one channel.
type peaks struct {
	in     *Interpolator
	buf    []float64 // 2·Reach−1 samples of the past, then new ones
	high   float64   // of samples and wave
	sample float64   // of samples alone
}

// peakRun is how many gaps are judged together: short enough that quiet runs
// beside a loud one are skipped, long enough that judging costs nothing.
const peakRun = 64

func newPeaks(in *Interpolator) *peaks {
	return &peaks{in: in, buf: make([]float64, 2*Reach-1, 2*Reach-1+peakRun)}
}

// write takes the next samples. The wave is read Reach samples late.
func (p *peaks) write(x []float64) {
	for len(x) > 0 {
		n := min(len(x), peakRun)
		p.run(x[:n])
		x = x[n:]
	}
}

// run takes the next samples of a channel, not more than the buffer holds.
func (p *peaks) run(x []float64) {
	const past = 2*Reach - 1
	buf := p.buf[:past]
	var local float64
	for _, v := range buf {
		local = max(local, math.Abs(v))
	}
	for _, v := range x {
		v = sound(v)
		local = max(local, math.Abs(v))
		buf = append(buf, v)
		p.sample = max(p.sample, math.Abs(v))
	}
	p.high = max(p.high, p.sample)
	if p.in.factor > 1 && local*p.in.bound > p.high {
		for i := range x {
			p.high = max(p.high, p.in.Peak(buf[i:i+2*Reach]))
		}
	}
	copy(buf[:past], buf[len(buf)-past:])
	p.buf = buf[:past]
}

// peak returns the highest magnitude so far, as if silence followed.
func (p *peaks) peak() float64 {
	rest := peaks{in: p.in, buf: append(make([]float64, 0, 2*Reach-1+peakRun), p.buf...), high: p.high}
	rest.write(make([]float64, 2*Reach))
	return rest.high
}
