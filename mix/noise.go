package mix

import (
	"errors"
	"fmt"
	"io"
	"math"

	"gonum.org/v1/gonum/dsp/fourier"

	"ripieno/mix/audio"
)

// Noise is the steady noise of one recording, hum and hiss, as a spectrum. It
// belongs to that recording, at its own rate and with its repair.
type Noise struct {
	rate  int
	power []float64 // mean power of every line of a frame
}

// Denoise makes the steady noise of a strip softer. It never makes it
// disappear: what is left covers the artefacts that removing it would show.
type Denoise struct {
	Noise *Noise         // from LearnNoise, of the same recording
	Depth audio.Decibels // by how much, 0 to 20; 0: 8
}

func (d *Denoise) check() error {
	switch {
	case d == nil:
		return nil
	case d.Noise == nil:
		return errors.New("denoise without a learned noise")
	case !(d.Depth >= 0 && d.Depth <= 20):
		return fmt.Errorf("denoise by %v dB: must lie between 0 and 20", float64(d.Depth))
	}
	return nil
}

// The frame of the analysis: 2048 samples are 43 ms at 48 kHz, lines 23 Hz
// apart, narrow enough to take out mains hum between the notes; a new frame
// every quarter of it.
const (
	frameSize = 2048
	frameHop  = frameSize / 4
	lineCount = frameSize/2 + 1
)

// spectrum is a windowed transform and its inverse.
type spectrum struct {
	fft    *fourier.FFT
	window []float64 // square root of a Hann window: used before and after, it adds up to 2
	real   []float64
	lines  []complex128
}

func newSpectrum() *spectrum {
	s := &spectrum{fft: fourier.NewFFT(frameSize), window: make([]float64, frameSize), real: make([]float64, frameSize), lines: make([]complex128, lineCount)}
	for i := range s.window {
		s.window[i] = math.Sin(math.Pi * (float64(i) + 0.5) / frameSize)
	}
	return s
}

// forward transforms a frame into s.lines.
func (s *spectrum) forward(x []float64) {
	for i, w := range s.window {
		s.real[i] = w * x[i]
	}
	s.fft.Coefficients(s.lines, s.real)
}

// addBack adds the frame that lines describe to y.
func (s *spectrum) addBack(y []float64, lines []complex128) {
	s.fft.Sequence(s.real, lines)
	const scale = 1.0 / (2 * frameSize)
	for i, w := range s.window {
		y[i] += scale * w * s.real[i]
	}
}

// quietShare is how much of a recording is taken for its noise: the quietest
// twentieth of its frames, which every recording with a count-in has.
const quietShare = 0.05

// LearnNoise reads a strip's recording once and takes the mean spectrum of its
// quietest frames for its noise. An error is a [*StripError].
func LearnNoise(s Strip) (*Noise, error) {
	if err := s.check(); err != nil {
		return nil, err
	}
	raw, err := s.Open()
	if err != nil {
		return nil, &StripError{s.Name, err}
	}
	n, err := learn(newFolded(raw, s.Repair))
	if e := closeSource(raw); err == nil {
		err = e
	}
	if err != nil {
		return nil, &StripError{s.Name, err}
	}
	return n, nil
}

// learn sorts frames by loudness into drawers of a decibel and keeps the sum
// of the spectra in each, so that its size does not depend on the length.
func learn(src audio.Source) (*Noise, error) {
	const drawers = 140
	var sums [drawers][]float64
	var counts [drawers]int64
	spec, total := newSpectrum(), int64(0)
	in := audio.NewBlock(src.Channels(), frameSize)
	power := make([]float64, lineCount)
	for {
		n, err := readFull(src, in)
		if err != nil && err != io.EOF {
			return nil, err
		}
		if n < frameSize {
			break
		}
		clear(power)
		sum := 0.0
		for _, x := range in {
			spec.forward(x)
			for k, c := range spec.lines {
				p := (real(c)*real(c) + imag(c)*imag(c)) / float64(len(in))
				power[k] += p
				sum += p
			}
		}
		level := 10 * math.Log10(sum/(frameSize*frameSize/4)) // dB of full scale
		if !(level > -139) {
			continue // digital silence says nothing
		}
		d := min(int(level+drawers), drawers-1)
		if sums[d] == nil {
			sums[d] = make([]float64, lineCount)
		}
		for k, p := range power {
			sums[d][k] += p
		}
		counts[d]++
		total++
	}
	noise := &Noise{rate: src.Rate(), power: make([]float64, lineCount)}
	wanted, taken := max(1, int64(quietShare*float64(total))), int64(0)
	for d := 0; d < drawers && taken < wanted; d++ {
		for k := range sums[d] {
			noise.power[k] += sums[d][k]
		}
		taken += counts[d]
	}
	for k := range noise.power {
		noise.power[k] /= float64(max(taken, 1))
	}
	return noise, nil
}

// readFull reads until dst is full or the source ends.
func readFull(src audio.Source, dst audio.Block) (int, error) {
	done := 0
	for done < dst.Frames() {
		n, err := src.Read(dst.Slice(done, dst.Frames()))
		done += n
		if err != nil {
			return done, err
		}
		if n == 0 {
			return done, io.ErrNoProgress
		}
	}
	return done, nil
}

// hushed is a source whose noise is made softer. It is not delayed.
type hushed struct {
	src   audio.Source
	noise *Noise
	floor float64 // least gain
	spec  []*spectrum
	gains []float64
	smear []float64
	past  audio.Block // the frame's input
	sum   audio.Block // overlapping output
	ready audio.Block // frames of sum that are finished, up to one hop
	at    int
	skip  int   // output frames before the programme
	left  int64 // output frames still due once the source has ended
	ended bool
	end   error
}

// newHushed softens src by d.
func newHushed(src audio.Source, d *Denoise) *hushed {
	depth := d.Depth
	if depth == 0 {
		depth = 8
	}
	h := &hushed{src: src, noise: d.Noise, floor: (-depth).Gain(), skip: frameSize - frameHop}
	h.gains, h.smear = make([]float64, lineCount), make([]float64, lineCount)
	for range src.Channels() {
		h.spec = append(h.spec, newSpectrum())
	}
	h.past = audio.NewBlock(src.Channels(), frameSize)
	h.sum = audio.NewBlock(src.Channels(), frameSize)
	h.ready = audio.NewBlock(src.Channels(), frameHop)
	h.at = frameHop
	if d.Noise.rate != src.Rate() {
		h.ended, h.end = true, fmt.Errorf("denoise: noise learned at %d Hz, recording at %d Hz", d.Noise.rate, src.Rate())
	}
	return h
}

func (h *hushed) Channels() int { return h.src.Channels() }
func (h *hushed) Rate() int     { return h.src.Rate() }

func (h *hushed) Read(dst audio.Block) (int, error) {
	done := 0
	for done < dst.Frames() {
		if h.at == frameHop {
			if h.ended && h.left <= 0 {
				break
			}
			h.next()
			continue
		}
		n := min(dst.Frames()-done, frameHop-h.at)
		if h.ended {
			if n = int(min(int64(n), h.left)); n == 0 {
				break
			}
		}
		h.left -= int64(n)
		for c := range dst {
			copy(dst[c][done:done+n], h.ready[c][h.at:h.at+n])
		}
		done += n
		h.at += n
	}
	if done == 0 && dst.Frames() > 0 {
		return 0, h.end
	}
	return done, nil
}

// next takes one hop of input and finishes one hop of output.
func (h *hushed) next() {
	for c := range h.past {
		copy(h.past[c], h.past[c][frameHop:])
		clear(h.past[c][frameSize-frameHop:])
	}
	if !h.ended {
		n, err := readFull(h.src, h.past.Slice(frameSize-frameHop, frameSize))
		h.left += int64(n)
		if err != nil {
			h.ended, h.end = true, err
		}
	}
	for c, x := range h.past {
		h.spec[c].forward(x)
	}
	h.weigh()
	for c, s := range h.spec {
		for k, g := range h.gains {
			s.lines[k] *= complex(g, 0)
		}
		s.addBack(h.sum[c], s.lines)
		copy(h.ready[c], h.sum[c][:frameHop])
		copy(h.sum[c], h.sum[c][frameHop:])
		clear(h.sum[c][frameSize-frameHop:])
	}
	h.at = 0
	if h.skip > 0 {
		h.at, h.skip = frameHop, h.skip-frameHop
	}
}

// Spectral subtraction with a floor (Boll 1979; the floor and the factor of
// over-subtraction after Berouti, Schwartz and Makhoul 1979). The factor
// covers most of the spread of a noise's power from frame to frame.
const (
	overSubtract = 3.0
	gainFall     = 0.6 // share of a line's gain kept per frame while it falls
)

// weigh finds the gain of every line for this frame, the same for both
// channels. Gains rise at once, so that attacks stay, and fall slowly.
func (h *hushed) weigh() {
	for k := range h.smear {
		var p float64
		for _, s := range h.spec {
			c := s.lines[k]
			p += real(c)*real(c) + imag(c)*imag(c)
		}
		h.smear[k] = p / float64(len(h.spec))
	}
	for k := range h.gains {
		// Three lines together: a window spreads a tone over as many.
		from, to := max(k-1, 0), min(k+2, lineCount)
		var p, n float64
		for j := from; j < to; j++ {
			p += h.smear[j]
			n += h.noise.power[j]
		}
		g := 1.0
		if n > 0 {
			g = math.Sqrt(math.Max(0, 1-overSubtract*n/math.Max(p, 1e-300)))
		}
		g = math.Max(g, h.floor)
		h.gains[k] = math.Max(g, gainFall*h.gains[k])
	}
}
