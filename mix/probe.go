package mix

import (
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

// ways are the signals that may be left of a stereo recording, each with its
// loudness.
const (
	wayStereo = iota
	wayLeft
	wayRight
	wayMiddle
	waySide
	ways
)

// wayOf is the signal that each repair keeps.
var wayOf = [...]int{AsRecorded: wayStereo, LeftOnly: wayLeft, RightOnly: wayRight, Fold: wayMiddle,
	FoldInverted: waySide}

// hop is the measuring step: a tenth of a second, the overlap the gate asks
// for. Windows are four and thirty of it.
const (
	hopsPerSecond = 10
	momentaryHops = 4
	shortHops     = 30
)

// energies are the K-weighted sums of a hop: left², right² and left·right. The
// loudness of every way follows from them.
type energies struct{ ll, rr, lr, frames float64 }

// plus returns the sum of both.
func (e energies) plus(f energies) energies {
	return energies{e.ll + f.ll, e.rr + f.rr, e.lr + f.lr, e.frames + f.frames}
}

// way returns the energy of one way of hearing a recording.
func (e energies) way(w int) float64 {
	switch w {
	case wayLeft:
		return e.ll
	case wayRight:
		return e.rr
	case wayMiddle:
		return (e.ll + e.rr + 2*e.lr) / 4
	case waySide:
		return (e.ll + e.rr - 2*e.lr) / 4
	}
	return e.ll + e.rr
}

// probe gathers an Analysis in one pass. Which of the ways a recording needs is
// known only at its end, so all of them are gated on the way: the filters run
// on two channels, and five energies follow from their products.
type probe struct {
	a      Analysis
	stereo bool
	plain  bool    // the true peak is not wanted
	top    float64 // largest sample
	k      [2]loudness.Weighting
	peaks  *loudness.Peaks
	y      [2][]float64

	from, to int64 // where loudness counts

	hop    energies
	hops   int64
	frame  int64
	ring   [shortHops]energies
	gates  [ways]loudness.Gate
	shorts [ways]loudness.Gate
	maxS   [ways]float64
	floors [ways]floor
	sums   [2]float64 // of samples
	all    energies   // of the whole recording, up to the running hop
	rail   [2]int64   // samples at full scale in a row
}

// newProbe prepares the pass over a source.
func newProbe(s audio.Source) *probe {
	p := &probe{stereo: s.Channels() > 1}
	p.a.Rate, p.a.Channels = s.Rate(), s.Channels()
	rate := min(max(s.Rate(), 8000), 384000)
	p.k = [2]loudness.Weighting{loudness.NewWeighting(rate), loudness.NewWeighting(rate)}
	p.peaks = loudness.NewPeaks(2, rate)
	return p
}

// write takes the next frames, which it may change.
func (p *probe) write(b audio.Block) {
	for _, ch := range b {
		p.a.Broken += cleanse(ch)
	}
	if len(b) > 2 {
		downMix(b)
	}
	left := b[0]
	right := left
	if p.stereo {
		right = b[1]
	}
	p.samples(left, right)
	for n := len(left); n > 0; n = len(left) {
		end := ((p.hops+1)*int64(p.a.Rate) + hopsPerSecond/2) / hopsPerSecond
		n = int(min(int64(n), end-p.frame))
		p.weigh(left[:n], right[:n])
		left, right = left[n:], right[n:]
		if p.frame += int64(n); p.frame == end {
			p.endHop()
		}
	}
	p.a.Frames = p.frame
}

// samples gathers what needs no weighting.
func (p *probe) samples(left, right []float64) {
	switch {
	case p.plain:
	case p.stereo:
		p.peaks.Write(audio.Block{left, right})
	default:
		p.peaks.Write(audio.Block{left})
	}
	p.side(0, left)
	if p.stereo {
		p.side(1, right)
	}
}

// side gathers sum, peak and clipping of one channel.
func (p *probe) side(c int, x []float64) {
	sum, low, high := p.sums[c], 0.0, 0.0
	for _, v := range x {
		sum += v
		if v > high {
			high = v
		} else if v < low {
			low = v
		}
	}
	p.sums[c] = sum
	p.top = max(p.top, high, -low)
	if p.rail[c] == 0 && high < fullScale && -low < fullScale {
		return // nothing to count, as almost always
	}
	for _, v := range x {
		p.clip(c, v)
	}
}

// fullScale is where a sample counts as clipped: the largest of 16 bits.
const fullScale = 1 - 1.5/32768

// clip counts samples at full scale in runs of three or more: one or two at the rail are peaks
// that just fit.
func (p *probe) clip(c int, v float64) {
	if v < fullScale && v > -fullScale {
		p.rail[c] = 0
		return
	}
	switch p.rail[c]++; {
	case p.rail[c] == 3:
		p.a.Clipped += 3
	case p.rail[c] > 3:
		p.a.Clipped++
	}
}

// weigh adds K-weighted energies to the running hop.
func (p *probe) weigh(left, right []float64) {
	for c := range p.y {
		if len(p.y[c]) < len(left) {
			p.y[c] = make([]float64, len(left))
		}
	}
	y := p.y[0][:len(left)]
	p.k[0].Apply(y, left)
	z := y
	if p.stereo {
		z = p.y[1][:len(left)]
		p.k[1].Apply(z, right)
	}
	for i, a := range y {
		b := z[i]
		p.hop.ll += a * a
		p.hop.rr += b * b
		p.hop.lr += a * b
	}
	p.hop.frames += float64(len(left))
}

// endHop closes a hop and updates the windows that end with it.
func (p *probe) endHop() {
	p.ring[p.hops%shortHops] = p.hop
	for w := range ways {
		p.floors[w].add(p.hop.way(w) / p.hop.frames)
	}
	p.all = p.all.plus(p.hop)
	p.hop = energies{}
	p.hops++
	p.k[0].Settle()
	p.k[1].Settle()
	if p.inside(momentaryHops) {
		m := p.window(momentaryHops)
		for w := range ways {
			p.gates[w].Add(m.way(w) / m.frames)
		}
	}
	if p.inside(shortHops) {
		s := p.window(shortHops)
		for w := range ways {
			p.shorts[w].Add(s.way(w) / s.frames)
			p.maxS[w] = max(p.maxS[w], s.way(w)/s.frames)
		}
	}
}

// inside reports whether the window of the last hops lies where loudness counts.
func (p *probe) inside(hops int64) bool {
	first := (p.hops-hops)*int64(p.a.Rate)/hopsPerSecond + 1 // hops are rounded
	return p.hops >= hops && first >= p.from && p.frame <= p.to
}

// window returns the sum of the last hops.
func (p *probe) window(hops int64) energies {
	var sum energies
	for k := p.hops - hops; k < p.hops; k++ {
		sum = sum.plus(p.ring[k%shortHops])
	}
	return sum
}

// analysis decides about the channels and reads the meters of what is left.
func (p *probe) analysis() Analysis {
	a := p.a
	a.Seconds = float64(a.Frames) / float64(a.Rate)
	w := wayLeft
	if p.stereo {
		// Weighted energies, so that direct current on a dead side does not
		// make it look alive.
		a.Repair = p.all.plus(p.hop).repair()
		w = wayOf[a.Repair]
	}
	a.Integrated = p.gates[w].Integrated()
	a.Range = p.shorts[w].Range()
	a.MaxShort = loudness.OfEnergy(p.maxS[w])
	f := &p.floors[w]
	a.NoiseFloor = f.quietest(0.05)
	spread, rest := f.quietest(0.10)-f.quietest(0.02), f.quietest(0.50)-f.quietest(0.10)
	a.NoiseKnown = a.Integrated-a.NoiseFloor >= noiseDepth && spread <= noiseSpread && spread <= noiseShare*rest
	a.Peak, a.TruePeak = audio.DecibelsOf(p.top), audio.Decibels(math.NaN())
	if !p.plain {
		a.TruePeak = p.peaks.True()
	}
	if a.Frames > 0 {
		a.DC = max(math.Abs(p.sums[0]), math.Abs(p.sums[1])) / float64(a.Frames)
	}
	return a
}

// floor counts windows by their loudness, far down.
type floor struct {
	bins  [1200]int64
	count int64
}

// floorLeast is the least loudness that counts as sound: what is under it is
// digital silence, a muted or gated recording, and says nothing of its noise.
const floorLeast = -110.0

// add counts a window of energy z by its loudness.
func (f *floor) add(z float64) {
	l := float64(loudness.OfEnergy(z))
	if !(l > floorLeast) {
		return
	}
	f.bins[min(int((l-floorLeast)*10), len(f.bins)-1)]++
	f.count++
}

// quietest returns the loudness under which the given share of the windows lies;
// −Inf without windows.
func (f *floor) quietest(share float64) loudness.LUFS {
	rank := int64(share * float64(f.count))
	for i, n := range f.bins {
		if n > 0 && rank < n {
			return loudness.LUFS(floorLeast + (float64(i)+0.5)/10)
		}
		rank -= n
	}
	return loudness.Silence
}
