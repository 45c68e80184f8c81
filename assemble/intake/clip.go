package intake

import (
	"math"
)

// Two signs of clipping. A converter that ran full repeats its extreme value,
// sample after sample: [extreme] counts that, and it is proof, but only while
// nobody has encoded the sound since. AAC and MP3 scatter those samples about
// the rail by a few per cent, over it as well, and no two are equal any more
// (of 40,240 full-scale samples two were left in a trial). What stays is that
// too many samples lie near one level: [tally] finds it. In music the number
// of samples falls steeply toward the highest level; clipping folds all that
// would lie above onto the rail.

// extreme follows the highest value of a stream and counts samples in runs of
// at least three that repeat it.
type extreme struct {
	value float64
	run   int64
	flat  int64
}

// add counts one sample. v is its height on the side that is looked at, so that the rail
// above and the rail below are found by the same code; below zero it is on the other side.
func (e *extreme) add(v float64) {
	switch {
	case v < e.value: // nearly always
		e.run = 0
	case v > e.value:
		e.value, e.run, e.flat = v, 1, 0
	case v == e.value && v > 0:
		switch e.run++; e.run {
		case 1, 2:
		case 3:
			e.flat += 3
		default:
			e.flat++
		}
	default:
		e.run = 0
	}
}

// countClipped returns how many samples lie in such runs, none when the extreme is below
// the lowest rail: in few steps of 16 bits every wave repeats its highest.
func (e *extreme) countClipped() int64 {
	if e.value < railLeast {
		return 0
	}
	return e.flat
}

// tally is a histogram of magnitudes, linear to tallyTop. Pieces of
// sound that look like a pure tone are left out: a sine piles up at its own
// peak too, and a softly blown flute is nearly one.
type tally struct {
	bins  [tallyBins]int64
	total int64
	piece int // samples looked at together
}

const (
	tallyBins = 1024
	tallyTop  = 2.0 // decoded AAC overshoots by up to 5.6 dB
	// A sine's peak is √2 of its effective value; a tenth more or less allows
	// for a swelling note. Clipping brings the factor toward 1, harmonics
	// toward 2 and more. And of a sine 1 - 2/π·asin(0.9) = 28.7 % of the
	// samples lie within a tenth of the peak; of one with a second harmonic
	// fewer, of a clipped wave more.
	pureLow, pureHigh         = 0.95 * 1.41421356, 1.1 * 1.41421356
	pureTopLeast, pureTopMost = 0.12, 0.33
)

// newTally looks at pieces of a fiftieth of a second, which holds a period of
// every instrument's lowest note and seldom two notes.
func newTally(rate int) tally { return tally{piece: max(1, rate/50)} }

// hear takes samples; the pieces begin anew with each call. Pieces that are
// left out belong to the total all the same, so that shares are of the whole
// file.
func (t *tally) hear(x []float64) {
	t.total += int64(len(x))
	for len(x) > 0 {
		n := min(t.piece, len(x))
		part := x[:n]
		x = x[n:]
		sum, top := 0.0, 0.0
		for _, v := range part {
			sum += v * v
			top = max(top, v, -v)
		}
		// Most of a take is too soft to have anything near a rail.
		if top < tallyLeast || pure(part, sum, top) {
			continue
		}
		for _, v := range part {
			m := math.Abs(v)
			switch {
			case m < tallyLeast:
			case m < tallyTop:
				t.bins[int(m*(tallyBins/tallyTop))]++
			default:
				t.bins[tallyBins-1]++
			}
		}
	}
}

// pure reports whether a piece, its sum of squares and highest magnitude given,
// looks like a pure tone.
func pure(x []float64, sum, top float64) bool {
	n := float64(len(x))
	if crest := top / math.Sqrt(sum/n); !(crest > pureLow && crest < pureHigh) {
		return false
	}
	high := 0
	for _, v := range x {
		if math.Abs(v) > 0.9*top {
			high++
		}
	}
	share := float64(high) / n
	return share > pureTopLeast && share < pureTopMost
}

// The bands around a supposed rail A, as factors of A. AAC at 96 kbit/s spreads
// countClipped samples by about 7 % to each side.
const (
	railLow, railHigh = 0.93, 1.07
	belowLow          = 0.70
	belowHigh         = 0.85
	// aboveMost is how many samples may lie above the rail, as a share of
	// those on it: overshoot of a codec.
	aboveMost = 0.15
	// railLeast is the lowest rail looked for, -12 dBFS: recorders that
	// limit below full scale.
	railLeast = 0.25
	// tallyLeast is the lowest magnitude that any band reaches down to.
	tallyLeast = railLeast * belowLow
	// leastShare of samples in the band makes a rail at all.
	leastShare = 5e-4
)

// rail returns the level at which samples pile up most against those a little
// lower; the share of samples at it; and how many there are for each sample in
// an equally wide band below. Zeroes when nothing reaches the lowest rail.
func (t *tally) rail() (level, share, ratio float64) {
	var upTo [tallyBins + 1]int64 // samples below bin i
	for i, n := range t.bins {
		upTo[i+1] = upTo[i] + n
	}
	if t.total == 0 {
		return 0, 0, 0
	}
	const perBin = tallyTop / tallyBins
	below := func(v float64) int64 { return upTo[min(tallyBins, int(v/perBin+0.5))] }
	const first = int(tallyBins * railLeast / tallyTop)
	for i := first; float64(i) < tallyBins/railHigh; i++ {
		a := (float64(i) + 0.5) * perBin
		on := below(a*railHigh) - below(a*railLow)
		above := upTo[tallyBins] - below(a*railHigh)
		s := float64(on) / float64(t.total)
		if s < leastShare || float64(above) > aboveMost*float64(on) {
			continue
		}
		under := below(a*belowHigh) - below(a*belowLow)
		// The bands are 0.14 and 0.15 wide, which the ratio leaves as is.
		if r := float64(on) / float64(max(1, under)); r > ratio {
			level, share, ratio = a, s, r
		}
	}
	return level, share, ratio
}
