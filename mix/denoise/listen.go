package denoise

import (
	"errors"
	"io"
	"math"

	"ripieno/mix/audio"
)

// How much of the silence before the piece is taken for its noise: the quieter
// third, which speech, a clap and clicks from headphones are not in, and at
// least half a second of it. A recording without gives its quietest twentieth.
const (
	countInShare = 1.0 / 3
	leastSample  = 0.5 // seconds
	quietShare   = 0.05
	// A count-in that is louder than the quietest moments by more holds
	// somebody who plays, for all that is known.
	someOver = 6.0  // dB
	mostOver = 20.0 // dB, where it is as even as noise
	evenly   = 3    // dB between its quietest twentieth and its quieter third
	// One that is louder by more was recorded by a phone that turns itself up in
	// silence: the noise under the playing is that of the quietest moments.
	turnedUp = 3.0 // dB
)

// Listen reads src to its end and returns its noise. Nobody plays before frame from of
// src; 0 or less says that nothing is known of it. It fails with src.
func Listen(src audio.Source, from int64) (*Noise, error) {
	l := NewListener(src.Rate(), from)
	spec, in := NewSpectrum(), audio.NewBlock(src.Channels(), Size)
	power := make([]float64, Lines)
	for {
		n, err := audio.ReadFull(src, in)
		if err != nil && !errors.Is(err, io.EOF) {
			return nil, err
		}
		if n < Size {
			return l.Noise(), nil
		}
		clear(power)
		for _, x := range in {
			spec.AddPower(power, x)
		}
		for k := range power {
			power[k] /= float64(len(in))
		}
		l.Add(power)
	}
}

// Listener learns the noise of a recording from its frames, for whoever transforms them
// anyway.
type Listener struct {
	rate        int
	from, at    int64
	before, all drawers
}

// NewListener returns one for a recording at rate, of which nobody plays before frame from.
func NewListener(rate int, from int64) *Listener { return &Listener{rate: rate, from: from} }

// Add takes the power of the next frame of Size samples, mean of the channels; frames do not
// overlap.
func (l *Listener) Add(power []float64) {
	l.all.add(power)
	if l.at += Size; l.at <= l.from {
		l.before.add(power)
	}
}

// Noise returns the noise of what was added.
func (l *Listener) Noise() *Noise {
	before := &l.before
	noise := &Noise{Rate: l.rate, Power: l.all.quietest(quietShare)}
	noise.Under = noise.Power
	least := int64(leastSample / countInShare * float64(l.rate) / Size)
	if before.silent >= least && before.silent > 2*before.total { // muted or gated: nothing under the playing either
		return &Noise{Rate: l.rate, Power: make([]float64, Lines), Under: make([]float64, Lines), Known: true}
	}
	if before.total >= least {
		sample := before.quietest(countInShare)
		over := 10 * math.Log10(sum(sample)/math.Max(sum(noise.Power), 1e-30))
		even := before.level(countInShare)-before.level(quietShare) <= evenly
		if over <= someOver || over <= mostOver && even {
			noise.Power, noise.Known = sample, true
		}
		if over <= turnedUp {
			noise.Under = sample
		}
	}
	return noise
}

// sum returns the sum of a list; 0 of none.
func sum(list []float64) (total float64) {
	for _, v := range list {
		total += v
	}
	return total
}

// drawers sorts frames by loudness, a decibel a drawer, and keeps the sum of
// the spectra in each, so that its size does not depend on the length.
type drawers struct {
	sums   [drawerCount][]float64
	counts [drawerCount]int64
	total  int64
	silent int64 // frames of digital silence
}

const drawerCount = 140

// add sorts a frame in. Digital silence says nothing and is left out.
func (d *drawers) add(power []float64) {
	level := 10 * math.Log10(sum(power)/(Size*Size/4)) // dB of full scale
	if !(level > -139) {
		d.silent++
		return
	}
	i := min(int(level+drawerCount), drawerCount-1)
	if d.sums[i] == nil {
		d.sums[i] = make([]float64, len(power))
	}
	for k, p := range power {
		d.sums[i][k] += p
	}
	d.counts[i]++
	d.total++
}

// level returns the drawer, a decibel each, up to which the given share of the
// frames lies.
func (d *drawers) level(share float64) int {
	wanted, taken := max(1, int64(share*float64(d.total))), int64(0)
	for i := range d.counts {
		if taken += d.counts[i]; taken >= wanted {
			return i
		}
	}
	return 0
}

// quietest returns the mean spectrum of the quietest share of the frames, whole
// drawers; zeros without frames.
func (d *drawers) quietest(share float64) []float64 {
	out := make([]float64, Lines)
	wanted, taken := max(1, int64(share*float64(d.total))), int64(0)
	for i := 0; i < drawerCount && taken < wanted; i++ {
		for k, p := range d.sums[i] {
			out[k] += p
		}
		taken += d.counts[i]
	}
	for k := range out {
		out[k] /= float64(max(taken, 1))
	}
	return out
}
