package denoise

import (
	"math"

	"ripieno/mix/robust"
)

// follower brings a learned noise to its present level: air conditioning comes
// and goes, and a phone that lowers loud playing lowers the noise under it.
//
// The least of the smoothed power of every line over two seconds is noise
// wherever a line rests for a moment (Martin 2001). A held note does not rest;
// therefore lines are asked in bands, of which the middle one decides, and the
// shape of the noise within a band stays as learned.
type follower struct {
	learned, inverse []float64 // the latter is of the noise now
	smooth           []float64
	least            []float64             // in the running part of the window
	parts            [windowParts]struct { // of the window, a ring
		least []float64
	}
	at, frames int
	filled     int
	bands      []band
	lowest     []float64 // of the window
	shares     []float64 // of a band: lowest over learned
}

// band is a run of lines and how its noise stands now.
type band struct {
	from, to int
	level    float64 // dB over what was learned
}

// The window of minimum statistics: 8 parts of 12 frames are 2 s at 48 kHz. The
// bias is how far the least lies under the mean of white noise then: measured
// in TestFollowerKnowsItsBias.
const (
	windowParts = 8
	partFrames  = 12
	smoothing   = 0.8
	leastBias   = 2.25
	// The noise may fall far, as where a phone turns itself down, and rise a
	// little: what rises more is playing.
	mostFall = 20.0 // dB
	mostRise = 3.0  // dB
	step     = 1.0  // dB a part of the window: about 4 dB a second
)

// newFollower begins with the noise as learned.
func newFollower(noise []float64) *follower {
	f := &follower{learned: make([]float64, len(noise)), inverse: make([]float64, len(noise)),
		smooth: make([]float64, len(noise)), least: make([]float64, len(noise)),
		lowest: make([]float64, len(noise))}
	for k, p := range noise {
		f.learned[k] = math.Max(p, 1e-20)
		f.inverse[k], f.smooth[k], f.least[k] = 1/f.learned[k], f.learned[k], math.Inf(1)
	}
	for i := range f.parts {
		f.parts[i].least = make([]float64, len(noise))
	}
	for from := 2; from < len(noise); {
		to := min(from+max(8, from/2), len(noise))
		if len(noise)-to < 8 {
			to = len(noise)
		}
		f.bands = append(f.bands, band{from: from, to: to})
		from = to
	}
	return f
}

// next takes the power of a frame and returns one over the noise in every line of
// it.
func (f *follower) next(power []float64) []float64 {
	still(f.smooth, f.least, power)
	if f.frames++; f.frames == partFrames {
		f.frames = 0
		f.endPart()
	}
	return f.inverse
}

// endPart closes a part of the window and moves every band toward what its lines
// say.
func (f *follower) endPart() {
	f.parts[f.at].least, f.least = f.least, f.parts[f.at].least
	f.at = (f.at + 1) % windowParts
	f.filled = min(f.filled+1, windowParts)
	for k := range f.least {
		f.least[k] = math.Inf(1)
	}
	if f.filled < windowParts {
		return
	}
	copy(f.lowest, f.parts[0].least)
	for _, p := range f.parts[1:] {
		low(f.lowest, p.least)
	}
	for i := range f.bands {
		b := &f.bands[i]
		f.shares = f.shares[:0]
		for k, l := range f.lowest[b.from:b.to] {
			f.shares = append(f.shares, l/f.learned[b.from+k])
		}
		want := 10 * math.Log10(math.Max(leastBias*robust.QuantileOf(f.shares, 0.5), 1e-6))
		want = math.Min(math.Max(want, -mostFall), mostRise)
		b.level += math.Min(math.Max(want-b.level, -step), step)
		gain := math.Pow(10, b.level/10)
		for k := b.from; k < b.to; k++ {
			f.inverse[k] = 1 / (f.learned[k] * gain)
		}
	}
}
