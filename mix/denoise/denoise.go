// Package denoise makes the noise of a recording softer while something is
// played over it.
//
// [Listen] reads a recording once and takes its noise from where nobody plays:
// the count-in, whose place the caller knows, or its quietest moments. [New]
// reduces that noise by the log-spectral amplitude estimator of Ephraim and
// Malah (1985), with the a-priori signal-to-noise ratio estimated by their
// decision-directed rule (1984), and follows slow change of the noise by
// minimum statistics (Martin 2001). The noise keeps a floor, so that what is
// left has no tones of its own.
//
// Y. Ephraim, D. Malah, "Speech enhancement using a minimum mean-square error
// short-time spectral amplitude estimator", IEEE Trans. ASSP 32 (1984);
// "... log-spectral amplitude estimator", IEEE Trans. ASSP 33 (1985); R. Martin,
// "Noise power spectral density estimation based on optimal smoothing and
// minimum statistics", IEEE Trans. SAP 9 (2001).
//
// Everything streams, and gives the same samples whatever the sizes of reads.
package denoise

import (
	"fmt"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/fourier"
)

// A frame is 2048 samples, 43 ms at 48 kHz, with lines 23 Hz apart; a new one
// begins every half of it.
const (
	Size  = 2048
	Hop   = Size / 2
	Lines = Size/2 + 1
)

// Spectrum is the transform of a frame, and its lines.
type Spectrum struct {
	*fourier.Transform
	Re, Im []float64
}

// NewSpectrum returns one whose window is the square root of a Hann window: used before and after, at
// every half of a frame, it adds up to 1.
func NewSpectrum() *Spectrum {
	window := make([]float64, Size)
	for i := range window {
		window[i] = math.Sin(math.Pi * (float64(i) + 0.5) / Size)
	}
	return &Spectrum{fourier.New(Size, window), make([]float64, Lines), make([]float64, Lines)}
}

// AddPower transforms a frame and adds the power of its lines to p.
func (s *Spectrum) AddPower(p, frame []float64) {
	s.Forward(s.Re, s.Im, frame)
	fourier.AddPower(p, s.Re, s.Im)
}

// Noise is the steady noise of one recording at its own rate, as a spectrum.
type Noise struct {
	Rate  int
	Power []float64 // mean power of every line of a frame, mean of the channels
	// Under is the noise under the playing: Power, or less where a phone turns
	// itself down while somebody plays.
	Under []float64
	// Known says that the noise was taken where nobody plays, not guessed from
	// the quietest moments of the playing.
	Known bool
}

// quieted reduces the noise of a source.
type quieted struct {
	find   *weighing
	floors []float64 // least gains
	noise  []float64
	follow *follower
	frames [3]weighed // the one that is weighed, and those behind it, which tell what is about to begin
	power  []float64
	gains  []float64
	past   []float64 // the estimate of the sound's power over the noise in the frame before
	before float64   // the total of that frame
}

// weighed is a frame: its lines, and their power over that of the noise.
type weighed struct {
	spec   []*Spectrum // of every channel
	ratios []float64
	total  float64 // of the ratios
	begins float64 // how much of the lower lines is new since the frame before
}

// New returns src with its noise reduced by at most depth, not delayed. The noise must be that of
// src, at its rate. It fails for noise of another rate, and for a depth that is not from
// 0 to 40 dB.
func New(src audio.Source, noise *Noise, depth audio.Decibels) (audio.Source, error) {
	switch {
	case noise == nil || len(noise.Under) != Lines:
		return nil, fmt.Errorf("denoise: no noise was learned")
	case noise.Rate != src.Rate():
		return nil, fmt.Errorf("denoise: noise learned at %d Hz, recording at %d Hz", noise.Rate, src.Rate())
	case !(depth >= 0 && depth <= 40):
		return nil, fmt.Errorf("denoise: by %v dB: must lie between 0 and 40", float64(depth))
	}
	q := &quieted{
		find: newWeighing(), floors: floorsOf(depth, src.Rate()), noise: make([]float64, Lines),
		power: make([]float64, Lines), gains: make([]float64, Lines), past: make([]float64, Lines),
	}
	for k, p := range noise.Under {
		q.noise[k] = p * float64(src.Channels())
	}
	q.follow = newFollower(q.noise)
	for i := range q.frames {
		q.frames[i].ratios = make([]float64, Lines)
		for range src.Channels() {
			q.frames[i].spec = append(q.frames[i].spec, NewSpectrum())
		}
	}
	return audio.NewOverlap(src, Size, Hop, len(q.frames)-1, q.frame), nil
}

// Below noLows nothing is reduced, from allLows on as much as was asked for. There lines lie
// farther apart than notes and partials, so that a bass goes down with the noise between
// them, of which the ear hears little: 19 dB less at 100 Hz than at 1 kHz (IEC 61672-1).
const noLows, allLows = 100.0, 200.0 // hertz

// floorsOf returns the least gain of every line for a depth.
func floorsOf(depth audio.Decibels, rate int) []float64 {
	floors := make([]float64, Lines)
	for k := range floors {
		octaves := math.Log2(float64(k) * float64(rate) / Size / noLows)
		share := math.Min(math.Max(octaves/math.Log2(allLows/noLows), 0), 1)
		floors[k] = (-depth * audio.Decibels(share)).Gain()
	}
	return floors
}

// frame takes a frame of input and adds the one two before it, of what is left of it.
func (q *quieted) frame(sum, frame audio.Block) {
	q.before = q.frames[0].total
	q.frames = [3]weighed{q.frames[1], q.frames[2], q.frames[0]}
	last := &q.frames[2]
	clear(q.power)
	for c, x := range frame {
		last.spec[c].AddPower(q.power, x)
	}
	inverse := q.follow.next(q.power)[:Lines]
	over(last.ratios, q.power, inverse)
	last.add(&q.frames[1])
	// One gain for both channels, so that the image does not move.
	q.find.sound, q.find.sure = times4(sound), times4(sure)
	if q.attack() {
		q.find.sound, q.find.sure = times4(soundAttack), times4(sureAttack)
	}
	weigh(q.gains, q.past, q.frames[0].ratios, q.frames[1].ratios, q.frames[2].ratios, q.floors, q.find)
	for c, s := range q.frames[0].spec {
		s.AddInverse(sum[c], s.Re, s.Im, q.gains)
	}
}

// The decision-directed rule weighs the last frame's estimate against this
// frame. Ephraim and Malah took 0.98 at hops of 8 ms; with hops of 21 ms, 0.94
// is the same time. At an attack the past says nothing; the frame behind tells
// one from noise, as in the rule of I. Cohen, "Relaxed statistical model for
// speech enhancement and a priori SNR estimation", IEEE Trans. SAP 13 (2005),
// which looks ahead: both together are no noise, which is that strong in both
// once in a million lines. A frame is as open as those
// behind it, so that an attack is heard as it was, and a slow one from where it begins.
const (
	trust      = 0.94
	trustStart = 0.1
	mostRatio  = 1e4   // of power over noise; more changes no gain
	leastPrior = 0.003 // −25 dB
	sound      = 7.0   // of power over noise, in two frames
	sure       = 14.0  // in one
	// Where a frame has more by half than the one before it, or so much in its lower lines
	// that was not there (a tuba has few), something begins, which noise alone never looks
	// like (some 6 of lowLines is its own): less is asked for there, and heard under the attack.
	attackTimes = 1.5
	attackNew   = 30.0
	lowLines    = 130   // to 3 kHz
	fullRatio   = 100.0 // counts fully
	soundAttack = 2.5
	sureAttack  = 4.0
)

// add adds up what is known of a frame behind another one.
func (f *weighed) add(before *weighed) {
	f.total, f.begins = 0, 0
	for _, r := range f.ratios {
		if r > fullRatio {
			r = fullRatio
		}
		f.total += r
	}
	for k, was := range before.ratios[:lowLines] {
		r := f.ratios[k]
		if r > fullRatio {
			r = fullRatio
		}
		if r = r - 2*was - 2; r > 0 {
			f.begins += r
		}
	}
}

// attack reports whether something begins in the frame that is weighed or one behind it.
func (q *quieted) attack() bool {
	grows := func(from, to float64) bool { return to > attackTimes*from+Lines/2 }
	f := &q.frames
	return grows(q.before, f[0].total) || grows(f[0].total, f[1].total) || grows(f[1].total, f[2].total) ||
		max(f[0].begins, f[1].begins, f[2].begins) > attackNew
}
