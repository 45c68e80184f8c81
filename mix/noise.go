package mix

import (
	"errors"
	"fmt"
	"io"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/fourier"
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

// check refuses settings out of range; no denoise is fine.
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
// every half of it.
const (
	frameSize = 2048
	frameHop  = frameSize / 2
	lineCount = frameSize/2 + 1
)

// spectrum is the transform of a frame under a window, and its lines.
type spectrum struct {
	*fourier.Transform
	re, im []float64
}

// newSpectrum has the square root of a Hann window: used before and after, at
// every half of a frame, it adds up to 1.
func newSpectrum() *spectrum {
	window := make([]float64, frameSize)
	for i := range window {
		window[i] = math.Sin(math.Pi * (float64(i) + 0.5) / frameSize)
	}
	return &spectrum{fourier.New(frameSize, window), make([]float64, lineCount), make([]float64, lineCount)}
}

// addPower transforms a frame and adds the power of its lines to p.
func (s *spectrum) addPower(p, frame []float64) {
	s.Forward(s.re, s.im, frame)
	fourier.AddPower(p, s.re, s.im)
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
	if e := audio.Close(raw); err == nil {
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
		for _, x := range in {
			spec.addPower(power, x)
		}
		sum := 0.0
		for k := range power {
			power[k] /= float64(len(in))
			sum += power[k]
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
