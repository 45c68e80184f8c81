// Package declip finds recordings whose tops were cut off and draws the tops again.
//
// [Listen] watches a recording that somebody reads and says at which level it is clipped, if
// it is; that level may lie anywhere, since a codec blurs the flat tops and a later gain moves
// them. [New] restores the samples beyond that level by consistent iterative hard thresholding
// (S. Kitić, L. Jacques, N. Madhu, M. P. Hopwood, A. Spriet, C. De Vleeschouwer, "Consistent
// iterative hard thresholding for signal declipping", ICASSP 2013): of all signals that agree
// with the samples that are whole, and lie beyond the clipping level where those are cut, one
// made of few lines of the spectrum. All other samples stay as they are, bit for bit.
//
// Restored tops may exceed full scale.
package declip

import (
	"math"

	"ripieno/mix/audio"
)

// Version is the version of what [Listen] finds and [New] computes.
const Version = 1

// Level is where one channel is clipped: samples from High up and from −Low down have lost
// their true height. 0 is not clipped on that side.
type Level struct{ High, Low float64 }

// clips reports on which side v is clipped: 1, −1, or 0 for whole.
func (l Level) clips(v float64) int {
	switch {
	case l.High > 0 && v >= l.High:
		return 1
	case l.Low > 0 && v <= -l.Low:
		return -1
	}
	return 0
}

// Clip is where a recording is clipped, channel by channel. The zero value is nowhere.
type Clip struct {
	Levels []Level
	Share  float64 // of the samples that are clipped, 0 to 1
}

// Any reports whether anything is clipped.
func (c Clip) Any() bool {
	for _, l := range c.Levels {
		if l != (Level{}) {
			return true
		}
	}
	return false
}

// New returns src with the tops that clip says drawn again, not delayed. A clip of other
// channels than src has restores those that both have.
func New(src audio.Source, clip Clip) audio.Source {
	if !clip.Any() {
		return src
	}
	work, levels := newSolver(src.Rate()), make([]Level, src.Channels())
	copy(levels, clip.Levels)
	hop := work.size / 2
	return audio.NewOverlap(src, work.size, hop, 0, func(sum, frame audio.Block) {
		for c, x := range frame {
			work.add(sum[c], x, levels[c])
			// What is finished are the tops as estimated, and all else as it was.
			for i, v := range x[:hop] {
				height := sum[c][i]
				sum[c][i] = v
				if side := levels[c].clips(v); side != 0 {
					sum[c][i] = drawn(v, float64(side)*height)
				}
			}
		}
	})
}

// mostRise is by how much a top may rise at most: 12 dB.
const mostRise = 4

// drawn returns the new height of a top that was recorded as v, whose estimated height is
// height. It never becomes lower.
func drawn(v, height float64) float64 {
	low := math.Abs(v)
	return math.Copysign(math.Min(math.Max(height, low), mostRise*low), v)
}
