package mix

import (
	"errors"
	"fmt"
	"io"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
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
	n, err := learn(s.repaired(raw))
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
	spec, total := denoise.NewSpectrum(), int64(0)
	in := audio.NewBlock(src.Channels(), denoise.Size)
	power := make([]float64, denoise.Lines)
	for {
		n, err := audio.ReadFull(src, in)
		if err != nil && err != io.EOF {
			return nil, err
		}
		if n < denoise.Size {
			break
		}
		clear(power)
		for _, x := range in {
			spec.AddPower(power, x)
		}
		sum := 0.0
		for k := range power {
			power[k] /= float64(len(in))
			sum += power[k]
		}
		level := 10 * math.Log10(sum/(denoise.Size*denoise.Size/4)) // dB of full scale
		if !(level > -139) {
			continue // digital silence says nothing
		}
		d := min(int(level+drawers), drawers-1)
		if sums[d] == nil {
			sums[d] = make([]float64, denoise.Lines)
		}
		for k, p := range power {
			sums[d][k] += p
		}
		counts[d]++
		total++
	}
	noise := &Noise{rate: src.Rate(), power: make([]float64, denoise.Lines)}
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
