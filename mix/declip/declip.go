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

// restored is a source whose tops are drawn again. It is not delayed.
type restored struct {
	src    audio.Source
	levels []Level
	work   *solver
	past   audio.Block // the frame of input
	sum    audio.Block // overlapping estimates
	ready  audio.Block
	rest   audio.Rest
	skip   int   // frames of output before the recording
	left   int64 // frames of output still due once the source has ended
	ended  bool
	end    error
}

// New returns src with the tops that clip says drawn again. A clip of other channels than
// src has restores those that both have.
func New(src audio.Source, clip Clip) audio.Source {
	if !clip.Any() {
		return src
	}
	work := newSolver(src.Rate())
	r := &restored{src: src, levels: make([]Level, src.Channels()), work: work, skip: work.size - work.size/2,
		past: audio.NewBlock(src.Channels(), work.size), sum: audio.NewBlock(src.Channels(), work.size),
		ready: audio.NewBlock(src.Channels(), work.size/2)}
	copy(r.levels, clip.Levels)
	return r
}

// Channels implements [audio.Source].
func (r *restored) Channels() int { return r.src.Channels() }

// Rate implements [audio.Source].
func (r *restored) Rate() int { return r.src.Rate() }

// Read implements [audio.Source].
func (r *restored) Read(dst audio.Block) (int, error) {
	return r.rest.ReadUntil(dst, r.next, &r.end)
}

// next returns half a frame of output, less at the end, nil after it.
func (r *restored) next() audio.Block {
	for hop := r.work.size / 2; r.skip > 0; r.skip -= hop {
		r.hop()
	}
	if r.ended && r.left <= 0 {
		return nil
	}
	r.hop()
	n := r.work.size / 2
	if r.ended {
		n = int(max(0, min(int64(n), r.left)))
	}
	r.left -= int64(n)
	return r.ready.Slice(0, n)
}

// hop takes half a frame of input and finishes half a frame of output.
func (r *restored) hop() {
	size, hop := r.work.size, r.work.size/2
	for c := range r.past {
		copy(r.past[c], r.past[c][hop:])
		clear(r.past[c][size-hop:])
	}
	if !r.ended {
		n, err := audio.ReadFull(r.src, r.past.Slice(size-hop, size))
		r.left += int64(n)
		if err != nil {
			r.ended, r.end = true, err
		}
	}
	for c, x := range r.past {
		r.work.add(r.sum[c], x, r.levels[c])
		for i, v := range x[:hop] {
			r.ready[c][i] = v
			if side := r.levels[c].clips(v); side != 0 {
				r.ready[c][i] = drawn(v, float64(side)*r.sum[c][i])
			}
		}
		copy(r.sum[c], r.sum[c][hop:])
		clear(r.sum[c][size-hop:])
	}
}

// mostRise is by how much a top may rise at most: 12 dB.
const mostRise = 4

// drawn returns the new height of a top that was recorded as v, whose estimated height is
// height. It never becomes lower.
func drawn(v, height float64) float64 {
	low := math.Abs(v)
	return math.Copysign(math.Min(math.Max(height, low), mostRise*low), v)
}
