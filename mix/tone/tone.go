// Package tone brings the colour of a phone's recording toward that of a
// microphone.
//
// Phones cut the lows, against wind and handling, and lift the presence, for
// speech: a cut of 12 dB an octave near 110 Hz and 2 to 4 dB about 3 kHz are
// common (from memory; Android's compatibility document asks for ±3 dB from 100 Hz
// to 4 kHz and allows 20 dB of loss below). A recording cannot say by itself
// which of its colour is the phone's and which the instrument's. So the
// correction is what phones have in common, half a step on the careful side,
// and the recording is only asked whether it contradicts: by lows that hold nothing
// but noise, or by a room's rumble that a phone would have cut. Where players recorded with a
// phone and with a microphone, their phones tell what those of the production need
// ([Learn]).
//
// The correction is two filters of minimum phase, a shelf and a bell, each
// wider than a third of an octave, and never more than [Most].
package tone

import "math"

// Version is the version of what is decided here.
const Version = 1

// Most is the most that is added or taken anywhere, dB.
const Most = 6.0

// The two places where phones have a colour of their own.
const (
	ShelfHz = 110.0          // half of the gain of the shelf is reached here
	ShelfQ  = math.Sqrt2 / 2 // follows the cut to 90 Hz within 1 dB and never passes its gain
	BellHz  = 3200.0
	BellQ   = 1.0
)

// Lows are the bounds of what is asked about the lows, hertz.
const LowFrom, LowTo = 45.0, 115.0

// Evidence is what a recording says about its own lows.
type Evidence struct {
	// Over is how far the playing lies over the noise between LowFrom and LowTo,
	// dB; NaN: nothing is played.
	Over float64
	// Rumble is by how much the noise in the octave at 63 Hz is louder than in
	// the octave at 125 Hz, dB; NaN: there is no noise.
	Rumble float64
}

// Correction is what is added to a recording.
type Correction struct {
	Low      float64 // gain of the shelf, dB, 0 to Most
	Presence float64 // gain of the bell, dB, −Most to 0
}

// Any reports whether anything is done.
func (c Correction) Any() bool { return c != Correction{} }

// What the correction of a phone is, in dB, and the bars of the evidence. In a
// room the noise of the octave at 63 Hz stands 7 to 9 dB over that at 125 Hz
// (NC and NR curves; from memory), which a phone's cut takes away.
const (
	lowGain   = 6.0
	presence  = -2.0
	noneOver  = 3.0 // up to here the lows are noise
	allOver   = 9.0
	allRumble = 3.5 // up to here the noise looks cut
	noRumble  = 6.0
)

// ForPhone returns the correction of a recording that a phone made, of what the phones
// of the production need.
func ForPhone(e Evidence, phones Phones) Correction {
	low := between(e.Over, noneOver, allOver)
	if !math.IsNaN(e.Rumble) {
		low *= 1 - between(e.Rumble, allRumble, noRumble)
	}
	// Steps of half a decibel: a figure that moves by a hair changes no sample.
	return Correction{Low: math.Round(2*phones.Low*low) / 2, Presence: phones.Presence}
}

// between returns 0 up to from, 1 from to on, and a straight line between; NaN
// is 0.
func between(x, from, to float64) float64 {
	if !(x > from) {
		return 0
	}
	return math.Min((x-from)/(to-from), 1)
}

// Rumble returns [Evidence.Rumble] of a spectrum of noise: power of lines step
// hertz apart, the first one at 0 Hz.
func Rumble(power []float64, step float64) float64 {
	octave := func(centre float64) (sum float64) {
		for k, p := range power {
			if hz := float64(k) * step; hz >= centre/math.Sqrt2 && hz < centre*math.Sqrt2 {
				sum += p
			}
		}
		return sum
	}
	low, high := octave(62.5), octave(125)
	if !(low > 0 && high > 0) {
		return math.NaN()
	}
	return 10 * math.Log10(low/high)
}
