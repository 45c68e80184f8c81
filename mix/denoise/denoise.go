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

// quieted is a source whose noise is reduced. It is not delayed.
type quieted struct {
	src    audio.Source
	floor  float64 // least gain
	noise  []float64
	follow *follower
	spec   []*Spectrum // of the frame that is weighed
	after  []*Spectrum // and of the one behind it, which tells what is about to begin
	power  []float64
	gains  []float64
	ratios []float64   // of the frame that is weighed: its power over the noise
	coming []float64   // and of the one behind it
	past   []float64   // the estimate of the sound's power over the noise in the one before it
	frame  audio.Block // the input
	sum    audio.Block // overlapping output
	ready  audio.Block
	rest   audio.Rest
	skip   int   // output frames before the recording
	left   int64 // output frames still due once the source has ended
	ended  bool
	end    error
}

// New returns src with its noise reduced by at most depth. The noise must be that of
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
		src: src, floor: (-depth).Gain(), noise: make([]float64, Lines), skip: Size,
		power: make([]float64, Lines), gains: make([]float64, Lines), past: make([]float64, Lines),
		ratios: make([]float64, Lines), coming: make([]float64, Lines),
		frame: audio.NewBlock(src.Channels(), Size), sum: audio.NewBlock(src.Channels(), Size),
		ready: audio.NewBlock(src.Channels(), Hop),
	}
	for k, p := range noise.Under {
		q.noise[k] = p * float64(src.Channels())
	}
	q.follow = newFollower(q.noise)
	for range src.Channels() {
		q.spec, q.after = append(q.spec, NewSpectrum()), append(q.after, NewSpectrum())
	}
	return q, nil
}

// Channels implements [audio.Source].
func (q *quieted) Channels() int { return q.src.Channels() }

// Rate implements [audio.Source].
func (q *quieted) Rate() int { return q.src.Rate() }

// Read implements [audio.Source].
func (q *quieted) Read(dst audio.Block) (int, error) {
	n := q.rest.Read(dst, q.next)
	if n == 0 && dst.Frames() > 0 {
		return 0, q.end
	}
	return n, nil
}

// next returns one hop of output, less at the end, nil after it.
func (q *quieted) next() audio.Block {
	for ; q.skip > 0; q.skip -= Hop {
		q.hop()
	}
	if q.ended && q.left <= 0 {
		return nil
	}
	q.hop()
	n := Hop
	if q.ended {
		n = int(max(0, min(int64(n), q.left)))
	}
	q.left -= int64(n)
	return q.ready.Slice(0, n)
}

// hop takes one hop of input and finishes one hop of output, of the frame before.
func (q *quieted) hop() {
	for c := range q.frame {
		copy(q.frame[c], q.frame[c][Hop:])
		clear(q.frame[c][Size-Hop:])
	}
	if !q.ended {
		n, err := audio.ReadFull(q.src, q.frame.Slice(Size-Hop, Size))
		q.left += int64(n)
		if err != nil {
			q.ended, q.end = true, err
		}
	}
	q.spec, q.after = q.after, q.spec
	q.ratios, q.coming = q.coming, q.ratios
	clear(q.power)
	for c, x := range q.frame {
		q.after[c].AddPower(q.power, x)
	}
	inverse := q.follow.next(q.power)[:Lines]
	for k, p := range q.power[:Lines] {
		q.coming[k] = min(p*inverse[k], mostRatio)
	}
	// One gain for both channels, so that the image does not move.
	q.weigh()
	for c, s := range q.spec {
		s.AddInverse(q.sum[c], s.Re, s.Im, q.gains)
		copy(q.ready[c], q.sum[c][:Hop])
		copy(q.sum[c], q.sum[c][Hop:])
		clear(q.sum[c][Size-Hop:])
	}
}

// The decision-directed rule weighs the last frame's estimate against this
// frame. Ephraim and Malah took 0.98 at hops of 8 ms; with hops of 21 ms, 0.94
// is the same time. At an attack the past says nothing; the frame behind tells
// one from noise, as in the rule of I. Cohen, "Relaxed statistical model for
// speech enhancement and a priori SNR estimation", IEEE Trans. SAP 13 (2005),
// which looks ahead: both together are no noise, which is that strong in both
// once in a million lines. The frame in which a note begins late is as
// open as the one behind it, so that the attack is heard as it was.
const (
	trust      = 0.94
	trustStart = 0.1
	mostRatio  = 1e4   // of power over noise; more changes no gain
	leastPrior = 0.003 // −25 dB
	sound      = 7.0   // of power over noise, in two frames
	sure       = 14.0  // in one
)

// weigh finds the gain of every line for the frame that is weighed.
func (q *quieted) weigh() {
	gains, past, ratios, coming := q.gains[:Lines], q.past[:Lines], q.ratios[:Lines], q.coming[:Lines]
	for k, after := range ratios {
		over, weight := after-1, trust
		if over < 0 {
			over = 0
		}
		next := coming[k]
		if after > sound && next > sound {
			weight = trustStart
		}
		prior := float64(weight*past[k]) + float64((1-weight)*over)
		if prior < leastPrior {
			prior = leastPrior
		}
		g := Gain(prior, after)
		past[k] = g * g * after
		if next > sure {
			if ahead := (next - 1) / next; ahead > g {
				g = ahead // the gain of Wiener's filter there
			}
		}
		if g < q.floor {
			g = q.floor
		}
		gains[k] = g
	}
}
