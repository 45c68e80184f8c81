package align

import "math"

// Where single stretches of two devices lie, their correlations tell to some hundredths of a
// millisecond only, of low notes in noise worse: with few frequencies, and what a microphone does
// to the phase of low ones moves the peak. All their frequencies together tell it better: a line
// through the phases, each as far off as its frequency makes of the delay, so that a stretch
// counts as it can tell (the Cramér-Rao bound of a delay goes by the squares of the frequencies;
// Knapp and Carter, 1976). Most likely is the line for which the cosines of what is left add up
// most, when phases scatter as von Mises has it; it is found by Fisher's scoring.
const (
	phaseRounds = 10
	phaseCount  = 128 // stretches: half of the noise of one is in the next one, and half is not
)

// turns are the cross spectra of stretches, of length 1 or 0.
type turns struct {
	at   []float64   // seconds of b, the middle of each
	from []int       // of its bins in the lists below; one more at the end
	bin  []int32     //
	turn []complex64 // by how much b lags there, of length 1
	unit float64     // radians a second of one bin
}

// byPhases returns by how much line l is wrong, as a line; false where too little agrees with it.
// Stretches are those that lie within tolerance seconds of it.
func byPhases(a, b *device, l line, size int, tolerance float64) (line, bool) {
	p := newPHAT(size, a.work)
	s := turns{unit: 2 * math.Pi * a.work / float64(size)}
	eachWindow(a, b, l, size, phaseCount, func(at float64, wa, wb []float32, na, nb func(float64) float64) {
		d, peak := p.delay(wa, wb, na, nb, a.work, int(farReach*a.work))
		if peak < windowPeak || math.Abs(d) > tolerance*a.work {
			return
		}
		s.at, s.from = append(s.at, at), append(s.from, len(s.bin))
		for k, z := range p.fa {
			if z != 0 {
				s.bin, s.turn = append(s.bin, int32(k)), append(s.turn, complex64(z))
			}
		}
	})
	s.from = append(s.from, len(s.bin))
	return s.line()
}

// line returns the likeliest line, in seconds, that is near none.
func (s turns) line() (line, bool) {
	var info, first, second float64 // of the squares of all frequencies: sum, and moments over time
	for i, at := range s.at {
		var w float64
		for _, k := range s.bin[s.from[i]:s.from[i+1]] {
			w += float64(k) * float64(k) * s.unit * s.unit
		}
		info, first, second = info+w, first+w*at, second+w*at*at
	}
	mean := first / info
	spread := second - first*mean
	if len(s.at) < 4 || !(spread > 1e-9*info) {
		return line{}, false
	}
	var l line
	for range phaseRounds {
		pull, tilt, agree := s.pull(l, mean)
		if agree == 0 {
			return line{}, false
		}
		l.at += pull / info / agree
		l.slope += tilt / spread / agree
	}
	l.at -= l.slope * mean
	return l, true
}

// pull returns the slopes of the sum of cosines by the line's height at mean and by its slope, and
// how far the phases agree, -1 to 1: below 0 one of the devices is wired the other way round.
func (s turns) pull(l line, mean float64) (pull, tilt, agree float64) {
	for i, at := range s.at {
		delay := s.unit * (l.at + l.slope*(at-mean))
		var sum float64
		for j := s.from[i]; j < s.from[i+1]; j++ {
			k := float64(s.bin[j])
			sin, cos := math.Sincos(k * delay)
			re, im := float64(real(s.turn[j])), float64(imag(s.turn[j]))
			sum += k * s.unit * (im*cos - re*sin)
			agree += re*cos + im*sin
		}
		pull, tilt = pull+sum, tilt+sum*(at-mean)
	}
	return pull, tilt, agree / float64(len(s.bin))
}
