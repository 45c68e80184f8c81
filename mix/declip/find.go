package declip

import (
	"math"

	"ripieno/mix/audio"
)

// A top that is cut shows in two things, and both are asked for. Half-waves end at one height
// far more often than a little below it, and hardly any goes beyond; and those that end there
// are flatter than the softer ones of the same recording. Chosen on simulated takes of sampled
// instruments behind AAC, no source.
const (
	pileHalf  = 4    // steps to either side of a pile's middle: 0.4 dB
	pileBelow = 16   // steps below it that it is held against
	piled     = 1.2  // times what lies just below it
	mostOver  = 0.05 // of the pile may lie beyond it
	fewest    = 200  // half-waves of a pile
	flatter   = 0.14 // than softer ones: share of the wave over half its height that is over 0.9
	softFrom  = 96   // steps below the pile where the softer ones begin: 9 dB
	softTo    = 32   // and end: 3 dB
	mostDepth = 12   // steps that the blur of a codec reaches down at most
)

// Steps are 64 an octave, from 2^-10, which is −60 dB, to 2^2.
const (
	perOctave = 64
	octaves   = 12
	least     = 1.0 / 1024
	steps     = perOctave * octaves
	shift     = 52 - 6 // of a float64's bits: six bits of the mantissa stay
)

// stepOf returns the step of a height, −1 for one below all.
func stepOf(v float64) int {
	if !(v >= least) {
		return -1
	}
	return min(int(math.Float64bits(v)>>shift-math.Float64bits(least)>>shift), steps-1)
}

// heightOf returns the height at which a step begins.
func heightOf(step int) float64 {
	return math.Float64frombits((uint64(step) + math.Float64bits(least)>>shift) << shift)
}

// side is what is counted of the half-waves to one side of one channel.
type side struct {
	samples [steps]int64
	tops    [steps]int64
	flat    [steps]float64 // sum over the tops
}

// channel is what is counted of a channel. Half-waves lie between changes of sign.
type channel struct {
	up, down side
	wave     []float64
	negative bool
}

// longestWave is how many samples of a half-wave are looked at: what is longer is no sound.
const longestWave = 8192

// add takes the next samples and cuts them at their zero crossings into half-waves, of which no
// more than longestWave samples are kept.
func (c *channel) add(x []float64) {
	for _, v := range x {
		if negative := v < 0; negative != c.negative {
			c.endWave()
			c.negative = negative
		}
		if len(c.wave) < longestWave {
			c.wave = append(c.wave, math.Abs(v))
		}
	}
}

// endWave counts a half-wave by its height: where many end at one height with flat tops, the
// recording is clipped there.
func (c *channel) endWave() {
	s, top := &c.up, 0.0
	if c.negative {
		s = &c.down
	}
	for _, v := range c.wave {
		if v > top { // max, which looks for NaN, takes twice as long here
			top = v
		}
	}
	if at := stepOf(top); at >= 0 && len(c.wave) >= 4 {
		high, half := 0, 0
		for _, v := range c.wave {
			if v > 0.5*top {
				half++
				if v > 0.9*top {
					high++
				}
				if k := stepOf(v); k >= 0 {
					s.samples[k]++
				}
			}
		}
		s.tops[at]++
		s.flat[at] += float64(high) / float64(half)
	}
	c.wave = c.wave[:0]
}

// pile returns the step at which half-waves are cut off, 0 for none.
func (s *side) pile() int {
	over := int64(0) // tops beyond the pile that is looked at
	for at := steps - 1 - pileHalf; at >= softFrom; at-- {
		n, flat := s.sum(at-pileHalf, at+pileHalf+1)
		beyond := over
		over += s.tops[at+pileHalf]
		if n < fewest || float64(beyond) > mostOver*float64(n) {
			continue
		}
		below, _ := s.sum(at-pileHalf-pileBelow, at-pileHalf)
		soft, softFlat := s.sum(at-softFrom, at-softTo)
		if float64(n) < piled*float64(below)*(2*pileHalf+1)/pileBelow || soft == 0 ||
			flat/float64(n) < softFlat/float64(soft)+flatter {
			continue
		}
		return at
	}
	return 0
}

// endsAt reports whether the half-waves end at a step too, at which those to the other side
// are cut off: some reach it, and hardly any goes beyond.
func (s *side) endsAt(at int) bool {
	n, _ := s.sum(at-pileHalf, at+pileHalf+1)
	over, _ := s.sum(at+pileHalf+1, steps)
	return n >= fewest/10 && float64(over) <= mostOver*float64(n)
}

// level returns where a channel is clipped, and how many of its samples are. Whatever cuts
// off one side mostly cuts off the other at the same height, which then needs less evidence.
func (c *channel) level() (l Level, clipped int64) {
	up, down := c.up.pile(), c.down.pile()
	if up == 0 && down > 0 && c.up.endsAt(down) {
		up = down
	} else if down == 0 && up > 0 && c.down.endsAt(up) {
		down = up
	}
	n := int64(0)
	if up > 0 {
		l.High, n = c.up.edge(up)
		clipped += n
	}
	if down > 0 {
		l.Low, n = c.down.edge(down)
		clipped += n
	}
	return l, clipped
}

// sum adds up tops and how flat they are over the steps from, and below to.
func (s *side) sum(from, to int) (n int64, flat float64) {
	for k := max(from, 0); k < to; k++ {
		n, flat = n+s.tops[k], flat+s.flat[k]
	}
	return n, flat
}

// edge returns where a pile of samples round a step begins, and how many lie from there on.
func (s *side) edge(at int) (height float64, clipped int64) {
	most := at
	for k := at - mostDepth; k <= at+pileHalf; k++ {
		if s.samples[k] > s.samples[most] {
			most = k
		}
	}
	usual := int64(0) // what a step has anyway
	for k := most - 3*mostDepth; k < most-mostDepth; k++ {
		usual += s.samples[max(k, 0)]
	}
	usual /= 2 * mostDepth
	from := most
	for from > most-mostDepth && s.samples[from-1] > usual+(s.samples[most]-usual)/8 {
		from--
	}
	for k := from; k < steps; k++ {
		clipped += s.samples[k]
	}
	return heightOf(from), clipped
}

// Listener is a source that looks for clipping in what is read through it.
type Listener struct {
	src      audio.Source
	channels []channel
	frames   int64
}

// Listen returns src with somebody listening.
func Listen(src audio.Source) *Listener {
	return &Listener{src: src, channels: make([]channel, src.Channels())}
}

// Channels implements [audio.Source].
func (l *Listener) Channels() int { return l.src.Channels() }

// Rate implements [audio.Source].
func (l *Listener) Rate() int { return l.src.Rate() }

// Read implements [audio.Source].
func (l *Listener) Read(dst audio.Block) (int, error) {
	n, err := l.src.Read(dst)
	for c := range dst {
		l.channels[c].add(dst[c][:n])
	}
	l.frames += int64(n)
	return n, err
}

// Clip returns where what was read so far is clipped.
func (l *Listener) Clip() Clip {
	var out Clip
	all := int64(0)
	for c := range l.channels {
		at, n := l.channels[c].level()
		out.Levels, all = append(out.Levels, at), all+n
	}
	if !out.Any() {
		return Clip{}
	}
	out.Share = float64(all) / float64(max(l.frames, 1)) / float64(len(l.channels))
	return out
}
