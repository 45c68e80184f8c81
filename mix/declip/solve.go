package declip

import (
	"math"

	"ripieno/mix/fourier"
	"ripieno/mix/robust"
)

// How long a frame is drawn at: as many lines more as make sense in it. The figures were
// chosen on dry stems of sampled instruments, no source.
const (
	rounds = 120  // at most
	enough = 1e-3 // of the frame's norm: what still disagrees when it is done
)

// solver restores frames of one size.
type solver struct {
	size   int       // 43 ms at 48 kHz, 64 at 8: as long as notes stand still
	window []float64 // a sine: used before and after, at every half of a frame, it adds up to 1
	fft    *fourier.Transform
	re, im []float64
	dr, di []float64 // lines of what disagrees
	frame  []float64 // under the window
	sides  []int     // on which side a sample is clipped
	bounds []float64 // how high it is at least, under the window
	found  []float64 // the estimate
	off    []float64 // by how much it disagrees
	power  []float64
	sorted []float64
}

// newSolver returns a solver for recordings of a rate: frames of some 40 ms.
func newSolver(rate int) *solver {
	s := &solver{size: 2048}
	if rate < 32000 {
		s.size = 512
	}
	s.fft = fourier.New(s.size, nil)
	lines := s.fft.Lines()
	for _, p := range []*[]float64{&s.re, &s.im, &s.dr, &s.di, &s.power, &s.sorted} {
		*p = make([]float64, lines)
	}
	for _, p := range []*[]float64{&s.window, &s.frame, &s.bounds, &s.found, &s.off} {
		*p = make([]float64, s.size)
	}
	s.sides = make([]int, s.size)
	for i := range s.window {
		s.window[i] = math.Sin(math.Pi * (float64(i) + 0.5) / float64(s.size))
	}
	return s
}

// add adds the estimate of frame x, under the window, to sum; nothing where no sample of it
// is clipped.
func (s *solver) add(sum, x []float64, l Level) {
	if !s.load(x, l) {
		return
	}
	s.solve()
	for i, v := range s.found {
		sum[i] += v * s.window[i]
	}
}

// load takes a frame in and reports whether anything of it is clipped.
func (s *solver) load(x []float64, l Level) (any bool) {
	for i, v := range x {
		s.frame[i] = v * s.window[i]
		if s.sides[i] = l.clips(v); s.sides[i] != 0 {
			any = true
			s.bounds[i] = l.High * s.window[i]
			if s.sides[i] < 0 {
				s.bounds[i] = l.Low * s.window[i]
			}
		}
	}
	return any
}

// solve estimates the frame, from nothing: a line more each round, at first, and then more quickly. Each
// round adds what disagrees with the recording to the lines and keeps the strongest.
func (s *solver) solve() {
	clear(s.re)
	clear(s.im)
	clear(s.found)
	norm := 0.0
	for _, v := range s.frame {
		norm += v * v
	}
	// What a few lines explain is a tone that goes on through the gaps. With more of them whatever
	// the gaps hold agrees with the recording, so they are let in last.
	for round, keep := 0, 0; round < rounds && keep < len(s.re)/2; round++ {
		keep += 1 + round/30
		if s.disagree() <= enough*enough*norm {
			return
		}
		s.fft.Forward(s.dr, s.di, s.off)
		for k := range s.re {
			s.re[k] += s.dr[k]
			s.im[k] += s.di[k]
			s.power[k] = s.re[k]*s.re[k] + s.im[k]*s.im[k]
		}
		copy(s.sorted, s.power)
		least := robust.KthLargest(s.sorted, keep)
		for k, p := range s.power {
			if p < least {
				s.re[k], s.im[k] = 0, 0
			}
		}
		clear(s.found)
		s.fft.AddInverse(s.found, s.re, s.im, nil)
	}
}

// disagree fills in by how much the estimate disagrees with what is known, and returns the
// sum of the squares: a whole sample has one value, a clipped one is too low or agrees.
func (s *solver) disagree() (sum float64) {
	for i, v := range s.found {
		d := 0.0
		switch s.sides[i] {
		case 0:
			d = s.frame[i] - v
		case 1:
			d = math.Max(s.bounds[i]-v, 0)
		default:
			d = math.Min(-s.bounds[i]-v, 0)
		}
		s.off[i] = d
		sum += d * d
	}
	return sum
}
