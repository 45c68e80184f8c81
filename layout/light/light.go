// Package light brings the light of several pictures toward each other:
// exposure and white balance, measured and changed in linear light. It is
// pure: mean light goes in, gains come out.
//
// A gain multiplies the linear value of a channel. On a display with a power
// law as its transfer function (ITU-R BT.1886, exponent 2.4), a gain g is the
// factor g^(1/2.4) on the signal, see Signal.
package light

import (
	"math"
	"slices"
)

// RGB is linear light of the three channels of BT.709, 1 is full white; as a
// gain, a factor for each.
type RGB struct{ R, G, B float64 }

// Bounds of what is changed (chosen here, no source): a stop of exposure, and
// a quarter more or less of red and blue against green. A player by candle
// light shall not look like one at noon.
const (
	maxExposure = 2.0
	maxTint     = 1.25
	// Gains are powers of step, so that a take that comes in later and moves
	// the group a little changes nothing.
	step = 1.06
)

// exponent of the display's transfer function (ITU-R BT.1886).
const exponent = 2.4

// Luminance returns the BT.709 luminance of c (ITU-R BT.709-6, item 3.2).
func (c RGB) Luminance() float64 { return 0.2126*c.R + 0.7152*c.G + 0.0722*c.B }

// Signal returns the factor on a channel's signal that gives the gains.
func (c RGB) Signal() RGB {
	f := func(g float64) float64 { return math.Pow(g, 1/exponent) }
	return RGB{f(c.R), f(c.G), f(c.B)}
}

// Linear returns the light of a signal from 0 to 1.
func Linear(signal float64) float64 { return math.Pow(max(0, signal), exponent) }

// Match returns the gain of every picture that brings its exposure and its white
// balance to the median of the group, within the bounds. A picture without
// light, or with values that are no numbers, is left alone and counts for
// nothing, and so is everything in a group of fewer than two.
func Match(means []RGB) []RGB {
	gains := make([]RGB, len(means))
	var exposure, red, blue []float64
	for i, m := range means {
		gains[i] = RGB{1, 1, 1}
		if m.usable() {
			exposure = append(exposure, math.Log(m.Luminance()))
			red, blue = append(red, math.Log(m.R/m.G)), append(blue, math.Log(m.B/m.G))
		}
	}
	if len(exposure) < 2 {
		return gains
	}
	e, r, b := middle(exposure), middle(red), middle(blue)
	for i, m := range means {
		if !m.usable() {
			continue
		}
		g := RGB{bounded(r-math.Log(m.R/m.G), maxTint), 1, bounded(b-math.Log(m.B/m.G), maxTint)}
		// Tint alone would change the luminance; exposure makes up for it.
		tinted := RGB{m.R * g.R, m.G, m.B * g.B}
		x := bounded(e-math.Log(tinted.Luminance()), maxExposure)
		gains[i] = RGB{g.R * x, x, g.B * x}
	}
	return gains
}

// usable reports whether there is light to measure by.
func (c RGB) usable() bool {
	const least = 1e-4 // of white, below which noise decides
	return c.R > least && c.G > least && c.B > least && c.R < 2 && c.G < 2 && c.B < 2
}

// bounded returns a factor given by its logarithm, from 1/most to most, as a power
// of step.
func bounded(log, most float64) float64 {
	log = min(max(log, -math.Log(most)), math.Log(most))
	return math.Pow(step, math.Trunc(log/math.Log(step)))
}

// middle returns the median, the mean of the two in the middle of an even number.
func middle(v []float64) float64 {
	v = slices.Sorted(slices.Values(v))
	n := len(v)
	return (v[(n-1)/2] + v[n/2]) / 2
}
