package follow

import (
	"fmt"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/fourier"
	"ripieno/mix/resample"
	"ripieno/mix/robust"
)

// What is heard: the spectrum of 32 ms every 5 ms at 16 kHz, in bands as wide as the ear's
// on the mel scale (O'Shaughnessy's formula, from memory), as in Ellis's onset strength.
const (
	workRate   = 16000
	window     = 512
	hop        = 80
	step       = float64(hop) / workRate // seconds
	bands      = 32
	lowBands   = 5 // below 300 Hz: where the bass is
	lowestHz   = 40.0
	highestHz  = 7600.0
	maxSeconds = 3600 // far above one piece; the rest is left out
)

// Onsets is how strongly something begins in a recording, every 5 ms.
type Onsets struct {
	strength []float64 // in units of its spread nearby, at most mostStrength
	low      []float64 // that of the bass
	seconds  float64
}

// mostStrength bounds an onset, so that one loud clap counts as one beat.
const mostStrength = 4.0

// Hear reads src to its end in one pass. The errors are those of the source, and of an
// impossible rate or number of channels.
func Hear(src audio.Source) (*Onsets, error) {
	if src.Rate() < 4000 || src.Rate() > resample.MaxRate || src.Channels() < 1 {
		return nil, fmt.Errorf("follow: cannot listen to %d channels at %d hertz", src.Channels(), src.Rate())
	}
	slow := resample.New(audio.NewMono(src), workRate, 0, 0, 0)
	e := newEar()
	for b, err := range audio.Blocks(slow, 1<<13) {
		if err != nil {
			return nil, err
		}
		if e.hear(b[0]); len(e.flux) >= maxSeconds*workRate/hop {
			break
		}
	}
	return &Onsets{normal(e.flux), normal(e.lowFlux), float64(len(e.flux)) * step}, nil
}

// ear measures window by window.
type ear struct {
	transform        *fourier.Transform
	re, im           []float64
	edge             [bands + 2]int // lines between which a band rises and falls
	now, last, older [bands]float64 // levels of this window and of the two before
	buf              []float64
	flux, lowFlux    []float64 // rises of every window: of all bands, and of the low ones
}

// newEar returns an ear that has heard half a window of silence, so that frame k has
// its middle at k steps.
func newEar() *ear {
	w := make([]float64, window)
	for i := range w {
		w[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/window)
	}
	e := &ear{transform: fourier.New(window, w), re: make([]float64, window/2+1), im: make([]float64, window/2+1),
		buf: make([]float64, window/2, 1<<15)}
	mel := func(hz float64) float64 { return 2595 * math.Log10(1+hz/700) }
	for i := range e.edge {
		m := mel(lowestHz) + (mel(highestHz)-mel(lowestHz))*float64(i)/(bands+1)
		e.edge[i] = int(math.Round(700 * (math.Pow(10, m/2595) - 1) * window / workRate))
		if i > 0 {
			e.edge[i] = max(e.edge[i], e.edge[i-1]+1)
		}
	}
	return e
}

// hear takes the next samples and measures every window that is complete.
func (e *ear) hear(x []float64) {
	e.buf = append(e.buf, x...)
	at := 0
	for ; at+window <= len(e.buf); at += hop {
		e.measure(e.buf[at : at+window])
	}
	e.buf = e.buf[:copy(e.buf, e.buf[at:])]
}

// apart is over how many windows a rise counts: notes of bows and voices need that long
// to begin.
const apart = 2 // older is as many back

// measure adds the rise of a window over the one apart frames before.
func (e *ear) measure(x []float64) {
	e.transform.Forward(e.re, e.im, x)
	sum, low := 0.0, 0.0
	for b := range e.now {
		power := 0.0
		lo, mid, hi := e.edge[b], e.edge[b+1], e.edge[b+2]
		for k := lo + 1; k < hi; k++ {
			w := float64(k-lo) / float64(mid-lo)
			if k > mid {
				w = float64(hi-k) / float64(hi-mid)
			}
			power += w * (e.re[k]*e.re[k] + e.im[k]*e.im[k])
		}
		e.now[b] = math.Log(1e-5*window + math.Sqrt(power))
		if len(e.flux) >= apart {
			sum += max(0, e.now[b]-e.older[b])
			if b < lowBands {
				low += max(0, e.now[b]-e.older[b])
			}
		}
	}
	e.older, e.last = e.last, e.now
	e.flux, e.lowFlux = append(e.flux, sum/bands), append(e.lowFlux, low)
}

// nearby is over how many frames to both sides an onset is compared with others: soft
// passages have beats too.
const nearby = int(4 / step)

// normal returns rises as onsets: over their mean nearby, in units of their spread there,
// which is not taken for less than a fifth of that of the whole recording.
func normal(flux []float64) []float64 {
	sum, square := make([]float64, len(flux)+1), make([]float64, len(flux)+1)
	for i, v := range flux {
		sum[i+1], square[i+1] = sum[i]+v, square[i]+v*v
	}
	spread := func(i, reach int) (mean, dev float64) {
		lo, hi := max(0, i-reach), min(len(flux), i+reach+1)
		n := float64(hi - lo)
		mean = (sum[hi] - sum[lo]) / n
		return mean, math.Sqrt(max(0, (square[hi]-square[lo])/n-mean*mean))
	}
	_, all := spread(0, len(flux))
	out := make([]float64, len(flux))
	for i, v := range flux {
		mean, dev := spread(i, nearby)
		if dev = max(dev, 0.2*all); dev > 0 {
			out[i] = min(max(0, (v-mean)/dev), mostStrength)
		}
	}
	return out
}

// clearOnset is the strength of an onset that nobody misses.
const clearOnset = 2.0

// byEar is the reach round a time that a person gave by ear, in seconds.
const byEar = 0.07

// first returns where the first pulse is: the strongest onset beside the time that was
// given, or without one the first clear onset.
func (o *Onsets) first(given float64) (float64, bool) {
	if !math.IsNaN(given) {
		at, strength := o.peak(given, byEar)
		if strength < clearOnset/2 {
			at = given
		}
		return at, true
	}
	for i, v := range o.strength {
		if v >= clearOnset && v >= robust.Quantile(o.strength[i:min(i+6, len(o.strength))], 1) {
			return o.at(i), true
		}
	}
	return 0, false
}

// at returns the time of a frame, sharpened by its neighbours with a parabola.
func (o *Onsets) at(i int) float64 {
	x := float64(i)
	if i > 0 && i+1 < len(o.strength) {
		a, b, c := o.strength[i-1], o.strength[i], o.strength[i+1]
		if d := a - 2*b + c; d < 0 {
			x += 0.5 * (a - c) / d
		}
	}
	return x*step + late
}

// late is how much later an onset is heard than the middle of its window says: a rise
// shows as soon as it comes into the window. It was measured on single strokes.
const late = 0.008

// peak returns the strongest onset within reach of a time; 0 for none.
func (o *Onsets) peak(near, reach float64) (at, strength float64) {
	from, to := max(0, int((near-late-reach)/step)), min(len(o.strength)-1, int((near-late+reach)/step))
	best := -1
	for i := from; i <= to; i++ {
		if best < 0 || o.strength[i] > o.strength[best] {
			best = i
		}
	}
	if best < 0 {
		return near, 0
	}
	return o.at(best), o.strength[best]
}

// end returns the time of the last clear onset.
func (o *Onsets) end() float64 {
	for i := len(o.strength) - 1; i >= 0; i-- {
		if o.strength[i] >= clearOnset {
			return o.at(i)
		}
	}
	return 0
}
