// Package loudness measures how loud a programme is, as ITU-R BS.1770-4 and
// BS.1770-5 define it and EBU Tech 3341 and Tech 3342 read it: momentary,
// short-term and integrated loudness, loudness range and true peak, for one to
// five main channels at any sample rate from 8 kHz to 384 kHz.
//
// It measures and never changes a sample. It does not know targets, strips or
// files, and it does not meter channel layouts beyond 5.1.
//
// Loudness is in [LUFS], differences in [LU], peaks in dBTP as
// [audio.Decibels]. −Inf means that nothing passed the gate: silence, or less
// than one measuring window of sound. A sample that is NaN or infinite counts
// as zero, so that one broken sample cannot spoil a measurement.
//
// [Meter] does all of it in one pass. [Weighting] and [Gate] are its parts,
// for those who measure several combinations of the same channels at once;
// [Interpolator] is the true-peak part, shared with the limiter so that meter
// and limiter agree about what a peak is.
package loudness

import "math"

// LUFS is loudness relative to full scale, K-weighted; −Inf is silence.
type LUFS float64

// LU is a difference between two loudnesses.
type LU float64

// Silence is the loudness of nothing.
var Silence = LUFS(math.Inf(-1))

// OfEnergy returns the loudness of a K-weighted, channel-weighted mean square:
// −0.691 + 10·log10(z), BS.1770-4 equation 2. Zero gives −Inf.
func OfEnergy(z float64) LUFS { return LUFS(-0.691 + 10*math.Log10(z)) }

// Energy returns the inverse of [OfEnergy].
func (l LUFS) Energy() float64 { return math.Pow(10, (float64(l)+0.691)/10) }
