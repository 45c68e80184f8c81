package room

import (
	"errors"
	"fmt"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/fourier"
	"ripieno/mix/resample"
)

// Impulse is a recorded room: what it answers to one short impulse. It may be
// shared by many convolvers.
type Impulse struct {
	frames int
	paths  []path
}

// path is the way from an input channel to an output channel.
type path struct {
	from, to int
	parts    []spectrum // of the response, cut into partitions
}

// spectrum is the transform of a partition that is padded to two.
type spectrum struct{ re, im []float64 }

// newSpectrum returns a spectrum of silence.
func newSpectrum() spectrum { return spectrum{make([]float64, lineCount), make([]float64, lineCount)} }

// Partition is how many frames a [Convolver] works on at once.
const Partition = 4096

const (
	transform = 2 * Partition
	lineCount = transform/2 + 1
	// mostSeconds bounds a response; longer ones are cut there.
	mostSeconds = 20
)

// NewImpulse reads a room's response at any rate: one channel (both sides
// alike), two (left to left, right to right) or four (left to left, left to
// right, right to left, right to right). It is brought to [audio.Rate], cut at
// 20 s, and scaled as a [Reverb] is: two unrelated steady white noises come out
// with the power they went in with. A response without sound is an error, and
// so is one with another number of channels.
func NewImpulse(src audio.Source) (*Impulse, error) {
	channels := src.Channels()
	ways, ok := map[int][][3]int{ // channel of the response, from, to
		1: {{0, 0, 0}, {0, 1, 1}},
		2: {{0, 0, 0}, {1, 1, 1}},
		4: {{0, 0, 0}, {1, 0, 1}, {2, 1, 0}, {3, 1, 1}},
	}[channels]
	if !ok {
		return nil, fmt.Errorf("room: a response of %d channels: must be 1, 2 or 4", channels)
	}
	x, err := readResponse(resample.New(src, audio.Rate, 0, 0, 0))
	if err != nil {
		return nil, fmt.Errorf("room: reading the response: %w", err)
	}
	var energy float64
	for _, w := range ways {
		for _, v := range x[w[0]] {
			energy += v * v
		}
	}
	if !(energy > 0) || math.IsInf(energy, 0) {
		return nil, errors.New("room: the response is silent or broken")
	}
	scale := math.Sqrt(2 / energy)
	imp := &Impulse{frames: x.Frames()}
	fft := fourier.New(transform, nil)
	for _, w := range ways {
		imp.paths = append(imp.paths, path{from: w[1], to: w[2], parts: partitions(fft, x[w[0]], scale)})
	}
	return imp, nil
}

// readResponse reads a response, up to its greatest length.
func readResponse(src audio.Source) (audio.Block, error) {
	out := make(audio.Block, src.Channels())
	for b, err := range audio.Blocks(src, Partition) {
		if err != nil {
			return nil, err
		}
		for c := range out {
			out[c] = append(out[c], b[c]...)
		}
		if out.Frames() >= mostSeconds*audio.Rate {
			break
		}
	}
	for c := range out {
		out[c] = out[c][:min(len(out[c]), mostSeconds*audio.Rate)]
	}
	return out, nil
}

// partitions transforms x, scaled, in pieces of one partition padded to two.
func partitions(fft *fourier.Transform, x []float64, scale float64) []spectrum {
	var parts []spectrum
	for at := 0; at < len(x); at += Partition {
		padded := make([]float64, transform)
		for i, v := range x[at:min(at+Partition, len(x))] {
			padded[i] = v * scale
		}
		part := newSpectrum()
		fft.Forward(part.re, part.im, padded)
		parts = append(parts, part)
	}
	return parts
}

// Tail returns how long the room sounds after its input ends.
func (m *Impulse) Tail() audio.Frames { return audio.Frames(m.frames) }

// Convolver is a running recorded room: partitioned convolution by overlap and
// save (Stockham 1966). One Convolver serves one goroutine.
type Convolver struct {
	impulse *Impulse
	fft     *fourier.Transform
	input   [2][]float64  // the last partition and this one
	history [2][]spectrum // of past inputs, a ring
	at      int           // where the newest transform is
	sum     spectrum
	time    []float64
}

// NewConvolver returns the room at rest.
func NewConvolver(m *Impulse) *Convolver {
	c := &Convolver{impulse: m, fft: fourier.New(transform, nil), sum: newSpectrum(), time: make([]float64, transform)}
	for side := range 2 {
		c.input[side] = make([]float64, transform)
		for range m.paths[0].parts {
			c.history[side] = append(c.history[side], newSpectrum())
		}
	}
	return c
}

// Process writes to out what the room answers to in, both of two channels and
// the same length, one [Partition] or, in the last call, less; out may be in.
// Nothing is delayed: a partition is answered as a whole. Broken samples count
// as silence.
func (c *Convolver) Process(out, in audio.Block) {
	n := in.Frames()
	c.at = (c.at + 1) % len(c.history[0])
	for side, x := range c.input {
		copy(x, x[Partition:])
		clear(x[Partition:])
		for i, v := range in[side] {
			if v > -1e6 && v < 1e6 {
				x[Partition+i] = v
			}
		}
		now := c.history[side][c.at]
		c.fft.Forward(now.re, now.im, x)
	}
	out.Clear()
	for to := range 2 {
		clear(c.sum.re)
		clear(c.sum.im)
		for _, p := range c.impulse.paths {
			if p.to == to {
				c.multiply(p)
			}
		}
		clear(c.time)
		c.fft.AddInverse(c.time, c.sum.re, c.sum.im, nil)
		copy(out[to], c.time[Partition:Partition+n])
	}
}

// multiply adds a path's answer to the sum of lines.
func (c *Convolver) multiply(p path) {
	past := c.history[p.from]
	re, im := c.sum.re, c.sum.im
	for i, h := range p.parts {
		x := past[(c.at-i+len(past))%len(past)]
		xr, xi, hr, hi := x.re[:len(re)], x.im[:len(re)], h.re[:len(re)], h.im[:len(re)]
		for k := range re {
			re[k] += xr[k]*hr[k] - xi[k]*hi[k]
			im[k] += xr[k]*hi[k] + xi[k]*hr[k]
		}
	}
}
