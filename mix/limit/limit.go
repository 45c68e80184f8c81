// Package limit holds a programme's true peak under a ceiling: a look-ahead
// limiter that sees the wave between the samples.
//
// The wave is read eightfold oversampled, twice what BS.1770-4 annex 2 asks of
// a meter, so that a finer meter after it finds nothing above the ceiling. One
// gain serves all channels, so the image does not move. The output is as long
// as the input and not delayed. A programme under the ceiling passes
// bit for bit. It is not a compressor and makes nothing louder.
//
// Levels are dBTP. Samples that are NaN or infinite become zero.
package limit

import (
	"fmt"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

// Times of the limiter. Five milliseconds of attack are short enough to leave
// the body of a note alone and long enough that the gain's own spectrum stays
// below about 200 Hz; releasing over a tenth of a second keeps the gain from
// following a low note's wave (common practice, no source).
const (
	attackSeconds  = 0.005
	releaseSeconds = 0.100
)

// margin is taken from the ceiling for what eightfold oversampling misses: up
// to 0.14 dB of a tone at 20 kHz, in theory. A meter of 32-fold resolution found
// 0.10 dB more than the eightfold one on noise, squares and tones up to 23 kHz.
const margin = audio.Decibels(0.12)

// factor is the oversampling of the peak detector.
const factor = 8

// one is a gain of 1 in the integers that gains are averaged in. Integer sums
// can be updated for hours without the rounding of floating-point sums.
const one = 1 << 40

// chunk is how many frames are limited at a time. The output does not depend
// on it.
const chunk = 4096

// Source is a limited programme. Besides [audio.Source] it tells how hard it
// had to work.
type Source struct {
	src     audio.Source
	ceiling float64
	in      *loudness.Interpolator
	ahead   int     // frames the gain begins to fall before a peak
	release float64 // share of the distance to 1 that a frame recovers

	// Input frames [base, base+len), with what the detector needs before the
	// first one; needs are known up to frame asked, gains applied up to done.
	frames  audio.Block
	base    int64
	asked   int64
	done    int64
	total   int64 // input frames, without the silence added after the end
	ended   bool
	end     error
	lastGap float64 // peak of the wave before frame asked

	held    *minimum
	envel   float64
	smooth  [2]box
	need    []float64
	inbox   audio.Block
	out     audio.Block
	outAt   int
	deepest float64
	lowered int64
	err     error
}

// New returns src limited to ceiling, in dBTP. The ceiling may be above 0; a
// ceiling of −Inf gives silence, NaN an error at the first Read, and so does a
// rate outside 8 kHz to 384 kHz.
func New(src audio.Source, ceiling audio.Decibels) audio.Source { return NewSource(src, ceiling) }

// NewSource returns what [New] returns, with its own type, which tells what was limited.
func NewSource(src audio.Source, ceiling audio.Decibels) *Source {
	rate := src.Rate()
	s := &Source{src: src, ceiling: (ceiling - margin).Gain(), in: loudness.NewInterpolator(factor), envel: 1,
		deepest: 1}
	if math.IsNaN(float64(ceiling)) || rate < 8000 || rate > 384000 {
		s.err = fmt.Errorf("limit: no ceiling of %v dBTP at %d Hz", float64(ceiling), rate)
		return s
	}
	// Two boxes in a row make a smooth corner at both ends of the fall.
	half := max(1, int(math.Round(attackSeconds*float64(rate)/2)))
	s.smooth = [2]box{newBox(half), newBox(half)}
	s.ahead = 2 * (half - 1)
	s.held = newMinimum(s.ahead + 1)
	s.release = 1 - math.Exp(-1/(releaseSeconds*float64(rate)))
	// The wave of a sudden beginning rings before its first sample, so peaks
	// are looked for from there.
	s.asked = -loudness.Reach
	s.base = s.asked - loudness.Reach
	s.frames = audio.NewBlock(src.Channels(), int(-s.base))
	s.inbox = audio.NewBlock(src.Channels(), chunk)
	return s
}

// Channels implements [audio.Source].
func (s *Source) Channels() int { return s.src.Channels() }

// Rate implements [audio.Source].
func (s *Source) Rate() int { return s.src.Rate() }

// Reduction returns the deepest cut so far, 0 or negative.
func (s *Source) Reduction() audio.Decibels { return audio.DecibelsOf(s.deepest) }

// Lowered returns how many frames so far were lowered by more than 0.1 dB.
func (s *Source) Lowered() audio.Frames { return audio.Frames(s.lowered) }

// Read implements [audio.Source].
func (s *Source) Read(dst audio.Block) (int, error) {
	if len(dst) != s.src.Channels() {
		return 0, fmt.Errorf("limit: read into %d channels from a source of %d", len(dst), s.src.Channels())
	}
	done := 0
	for done < dst.Frames() {
		if s.outAt == s.out.Frames() {
			if s.err == nil {
				s.produce()
			}
			if s.outAt == s.out.Frames() {
				break
			}
		}
		n := min(dst.Frames()-done, s.out.Frames()-s.outAt)
		for c := range dst {
			copy(dst[c][done:done+n], s.out[c][s.outAt:s.outAt+n])
		}
		s.outAt += n
		done += n
	}
	if done == 0 && dst.Frames() > 0 {
		return 0, s.err
	}
	return done, nil
}
