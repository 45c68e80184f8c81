package mix

import (
	"fmt"
	"io"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

// Analysis is what one pass over a recording says about its sound. Loudness
// and noise are those of the recording after Repair, as one strip plays it.
type Analysis struct {
	Rate, Channels int
	Frames         int64   // at Rate
	Seconds        float64 // Frames / Rate

	Repair     Repair         // what the channels need
	Integrated loudness.LUFS  // gated; −Inf: silence, or less than 0.4 s
	MaxShort   loudness.LUFS  // largest loudness of 3 s; −Inf before there are 3 s
	Range      loudness.LU    // between soft and loud places
	Peak       audio.Decibels // largest sample of any channel, dBFS
	TruePeak   audio.Decibels // dBTP

	// NoiseFloor is the loudness of the quietest twentieth of the recording.
	// NoiseKnown says that this is noise: far below the playing and even, as
	// a pause is. Otherwise the recording has no pauses, the floor is soft
	// playing, and nothing is known about its noise.
	NoiseFloor loudness.LUFS
	NoiseKnown bool

	Broken  int64   // samples that are NaN, infinite or absurdly large
	Clipped int64   // samples in runs of three or more at full scale
	DC      float64 // mean of the samples, full scale 1: the worst channel's
}

// What makes a floor noise: it lies at least noiseDepth under the loudness, and
// the quietest tenth of the recording is even, both by itself and against the
// way from there to the median, which a note that dies away is not. The figures
// were chosen on noise in windows of a tenth of a second and on decaying notes;
// they have no source.
const (
	noiseDepth  = 12.0
	noiseSpread = 4.0
	noiseShare  = 1.0 / 8
)

// Analyse reads s to its end. More than two channels are folded to two first,
// as a strip does it. An error of s is returned with what was measured so far.
func Analyse(s audio.Source) (Analysis, error) { return analyse(s, 0, math.MaxInt64) }

// AnalyseStrip is [Analyse] of a strip's recording, with its loudness and range
// measured only where guide frames of within sound, and the strip may sound:
// what a player does before and after the piece must not set the level. Channels,
// peaks and noise are those of the whole recording, whose pauses are often
// outside the piece. An error is a [*StripError].
func AnalyseStrip(s Strip, within Span) (Analysis, error) {
	if err := s.check(); err != nil {
		return Analysis{}, err
	}
	src, err := s.Open()
	if err != nil {
		return Analysis{}, &StripError{s.Name, err}
	}
	within.From = max(within.From, s.From)
	if s.To != 0 {
		within.To = min(within.To, s.To)
	}
	frame := func(guide audio.Frames) int64 {
		return int64(math.Round((guide.Seconds() - s.Offset - s.Delay) / s.Drift.Ratio() * float64(src.Rate())))
	}
	a, err := analyse(src, frame(within.From), frame(within.To))
	if e := closeSource(src); err == nil {
		err = e
	}
	if err != nil {
		err = &StripError{s.Name, err}
	}
	return a, err
}

// analyse measures loudness in frames [from, to) of the source.
func analyse(s audio.Source, from, to int64) (Analysis, error) {
	if s.Channels() < 1 || s.Rate() < 1 {
		return Analysis{}, fmt.Errorf("mix: cannot analyse %d channels at %d Hz", s.Channels(), s.Rate())
	}
	p := newProbe(s)
	p.from, p.to = from, to
	in := audio.NewBlock(s.Channels(), 4096)
	for {
		n, err := s.Read(in)
		p.write(in.Slice(0, n))
		if err == nil && n == 0 {
			err = io.ErrNoProgress
		}
		if err == io.EOF {
			return p.analysis(), nil
		}
		if err != nil {
			return p.analysis(), err
		}
	}
}

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
var wayOf = [...]int{AsRecorded: wayStereo, LeftOnly: wayLeft, RightOnly: wayRight, Fold: wayMiddle, FoldInverted: waySide}

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

// probe gathers an Analysis.
type probe struct {
	a      Analysis
	stereo bool
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
	raw    energies   // of the whole recording, not weighted
	rail   [2]int64   // samples at full scale in a row
}

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
		for i, v := range ch {
			var ok bool
			if ch[i], ok = sane(v); !ok {
				p.a.Broken++
			}
		}
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
	if p.stereo {
		p.peaks.Write(audio.Block{left, right})
	} else {
		p.peaks.Write(audio.Block{left})
	}
	for i, l := range left {
		r := right[i]
		p.sums[0] += l
		p.sums[1] += r
		p.raw.ll += l * l
		p.raw.rr += r * r
		p.raw.lr += l * r
		p.clip(0, l)
		if p.stereo {
			p.clip(1, r)
		}
	}
}

// fullScale is where a sample counts as clipped: the largest of 16 bits.
const fullScale = 1 - 1.5/32768

// clip counts runs at full scale.
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

// inside says whether the window of the last hops lies where loudness counts.
func (p *probe) inside(hops int64) bool {
	first := (p.hops-hops)*int64(p.a.Rate)/hopsPerSecond + 1 // hops are rounded
	return p.hops >= hops && first >= p.from && p.frame <= p.to
}

// window is the sum of the last hops.
func (p *probe) window(hops int64) energies {
	var sum energies
	for k := p.hops - hops; k < p.hops; k++ {
		e := p.ring[k%shortHops]
		sum.ll += e.ll
		sum.rr += e.rr
		sum.lr += e.lr
		sum.frames += e.frames
	}
	return sum
}

// analysis decides about the channels and reads the meters of what is left.
func (p *probe) analysis() Analysis {
	a := p.a
	a.Seconds = float64(a.Frames) / float64(a.Rate)
	w := wayLeft
	if p.stereo {
		a.Repair = p.raw.repair()
		w = wayOf[a.Repair]
	}
	a.Integrated = p.gates[w].Integrated()
	a.Range = p.shorts[w].Range()
	a.MaxShort = loudness.OfEnergy(p.maxS[w])
	f := &p.floors[w]
	a.NoiseFloor = f.quietest(0.05)
	spread, rest := f.quietest(0.10)-f.quietest(0.02), f.quietest(0.50)-f.quietest(0.10)
	a.NoiseKnown = a.Integrated-a.NoiseFloor >= noiseDepth && spread <= noiseSpread && spread <= noiseShare*rest
	a.Peak, a.TruePeak = p.peaks.Sample(), p.peaks.True()
	if a.Frames > 0 {
		a.DC = max(math.Abs(p.sums[0]), math.Abs(p.sums[1])) / float64(a.Frames)
	}
	return a
}

// What a stereo recording's sides may differ by (chosen on synthetic faults,
// no source): a dead side still carries the crosstalk and hiss of its
// amplifier; two copies of one sound differ by the rounding of a codec.
const (
	deadRatio = 1e-4  // −40 dB of energy between the sides
	copyRatio = 1e-3  // −30 dB of difference between copies
	nearLevel = 4.0   // 6 dB of energy between the sides of one sound
	opposed   = -0.95 // correlation of an inverted side
)

// repair decides from the energies of a whole recording.
func (e energies) repair() Repair {
	total := e.ll + e.rr
	switch {
	case total == 0:
		return Fold
	case e.rr < deadRatio*e.ll:
		return LeftOnly
	case e.ll < deadRatio*e.rr:
		return RightOnly
	case e.ll > nearLevel*e.rr || e.rr > nearLevel*e.ll:
		return AsRecorded
	case total-2*e.lr < copyRatio*total:
		return Fold
	case e.lr < opposed*math.Sqrt(e.ll*e.rr):
		return FoldInverted
	}
	return AsRecorded
}

// floor counts windows by their loudness, far down.
type floor struct {
	bins  [1200]int64
	count int64
}

// floorLeast is the least loudness that counts as sound: what is under it is
// digital silence, a muted or gated recording, and says nothing of its noise.
const floorLeast = -110.0

func (f *floor) add(z float64) {
	l := float64(loudness.OfEnergy(z))
	if !(l > floorLeast) {
		return
	}
	f.bins[min(int((l-floorLeast)*10), len(f.bins)-1)]++
	f.count++
}

// quietest is the loudness under which the given share of the windows lies;
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
