package align

import (
	"math"

	"ripieno/mix/fourier"
)

// A slurred note has no rise in level that a band could show: only its pitch
// is new. pitchFlux listens for that with a short-time spectrum, in the way of
// spectral flux with a maximum filter against vibrato (S. Böck and G. Widmer,
// "Maximum filter vibrato suppression for onset detection", DAFx 2013), but
// with linear magnitudes over symmetrical windows: the magnitude of a new pitch
// grows fastest when the middle of the window passes its beginning, so the
// moment is not pulled forward as with logarithms.
type pitchFlux struct {
	rate  float64
	dec   *decimator
	spec  *spectrum
	tilt  []float64 // per bin, lifts the upper partials, which move farthest
	buf   []float64 // samples from index at on
	at    int
	frame int // the next frame's number
	past  [2*fluxLag + 1][]float64
	queue []int
	flux  []float32 // flux[n]: share of the sound that is new round n·fluxHop
}

const (
	fluxHop  = 0.008 // seconds
	fluxLag  = 3     // frames on either side that are compared
	fluxSize = 768   // samples of a window, about 0.1 s
	fluxTop  = 3400  // hertz
)

// newPitchFlux takes the signal at work hertz.
func newPitchFlux(work float64) *pitchFlux {
	p := &pitchFlux{}
	p.dec = decimateBy(max(1, int(work/7000)))
	p.rate = work / float64(p.dec.factor)
	bin := p.rate / fluxSize
	for k := 0; float64(k)*bin < math.Min(fluxTop, 0.45*p.rate); k++ {
		tilt := 0.0
		if f := float64(k) * bin; f > 80 {
			tilt = math.Sqrt(f / 500)
		}
		p.tilt = append(p.tilt, tilt)
	}
	p.spec = newSpectrum(len(p.tilt))
	for i := range p.past {
		p.past[i] = make([]float64, len(p.tilt))
	}
	p.queue = make([]int, 0, len(p.tilt))
	p.buf = make([]float64, fluxSize/2) // silence before the file
	p.at = -fluxSize / 2
	return p
}

// write adds samples at the work rate.
func (p *pitchFlux) write(x []float64) {
	p.buf = p.dec.write(p.buf, x)
	for {
		begin := int(math.Round(float64(p.frame)*fluxHop*p.rate)) - fluxSize/2 - p.at
		if begin+fluxSize > len(p.buf) {
			break
		}
		p.analyse(p.buf[begin : begin+fluxSize])
		p.frame++
		if begin > 1<<13 {
			p.buf = p.buf[:copy(p.buf, p.buf[begin:])]
			p.at += begin
		}
	}
}

// analyse takes the window of one frame. The spectra of the last 2·fluxLag+1 frames go round
// in past, so that no frame costs memory.
func (p *pitchFlux) analyse(x []float64) {
	oldest := p.past[0]
	copy(p.past[:], p.past[1:])
	p.past[2*fluxLag] = oldest
	p.spec.magnitudes(oldest, x)
	for k, t := range p.tilt {
		oldest[k] *= t
	}
	if p.frame < fluxLag {
		return
	}
	p.flux = append(room(p.flux, 1), float32(p.compare(p.past[0], p.past[2*fluxLag])))
}

// compare returns how much of the sound after is new against the sound before.
func (p *pitchFlux) compare(before, after []float64) float64 {
	var fresh, total float64
	// The largest value of before within reach of each bin, by a queue of the
	// bins that may still become it: both ends of the reach only move up.
	queue, head, next := p.queue[:0], 0, 0
	for k, v := range after {
		total += max(v, before[k])
		// Half a semitone of vibrato moves a partial by three per cent.
		reach := 1 + k*3/100
		for ; next <= min(len(before)-1, k+reach); next++ {
			for len(queue) > head && before[queue[len(queue)-1]] <= before[next] {
				queue = queue[:len(queue)-1]
			}
			queue = append(queue, next)
		}
		for queue[head] < k-reach {
			head++
		}
		if most := before[queue[head]]; v > most {
			fresh += v - most
		}
	}
	p.queue = queue
	if total <= 1e-9 {
		return 0
	}
	return fresh / total
}

// spectrum is the short-time spectrum of fluxSize samples under a Hann window:
// every third sample by itself, padded to a size that the transform has, and
// the three put together.
type spectrum struct {
	parts  [3]*fourier.Transform
	part   []float64
	re, im [3][]float64
	twist  []complex128 // e^(−2πik/fluxSize)
}

// partSize is twice a third of fluxSize, so that every second line of a padded
// part is one of its own.
const partSize = 2 * fluxSize / 3

// newSpectrum prepares for the first so many lines, up to fluxSize/2+1.
func newSpectrum(lines int) *spectrum {
	s := &spectrum{part: make([]float64, partSize), twist: make([]complex128, lines)}
	for r := range s.parts {
		window := make([]float64, partSize)
		for i := range fluxSize / 3 {
			window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(3*i+r)+0.5)/fluxSize)
		}
		s.parts[r] = fourier.New(partSize, window)
		s.re[r], s.im[r] = make([]float64, partSize/2+1), make([]float64, partSize/2+1)
	}
	for k := range s.twist {
		sin, cos := math.Sincos(-2 * math.Pi * float64(k) / fluxSize)
		s.twist[k] = complex(cos, sin)
	}
	return s
}

// magnitudes writes those of the first lines of x, fluxSize samples, to out.
func (s *spectrum) magnitudes(out, x []float64) {
	for r, t := range s.parts {
		for i := range fluxSize / 3 {
			s.part[i] = x[3*i+r]
		}
		t.Forward(s.re[r], s.im[r], s.part)
	}
	for k, w := range s.twist {
		// The lines of a part repeat, and the second half of them is the first
		// one backwards, conjugated.
		at, sign := 2*k%partSize, 1.0
		if at > partSize/2 {
			at, sign = partSize-at, -1
		}
		z := complex(s.re[2][at], sign*s.im[2][at])
		z = complex(s.re[1][at], sign*s.im[1][at]) + w*z
		z = complex(s.re[0][at], sign*s.im[0][at]) + w*z
		out[k] = cabs(z)
	}
}
