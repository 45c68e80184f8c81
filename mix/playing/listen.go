package playing

import (
	"fmt"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/resample"
	"ripieno/mix/robust"
)

// Version is the measurement that Listen makes now; tones of another one must
// be measured again.
const Version = 1

// Tones are the steady tones of one file. The type survives gob unchanged.
type Tones struct {
	Version int
	Seconds float64 // measured
	Steady  []Tone  // in order of time
}

// Tone is a stretch of sound with one pitch.
type Tone struct {
	From, To float64 // seconds of the file
	Note     float64 // MIDI note number with fraction; 69 is 440 Hz
	Wobble   float64 // robust standard deviation of the pitch within it, cents: vibrato and drift
	Level    float64 // dBFS of the mean square
}

// The measurement runs at workRate hertz. A window of window samples is
// compared with itself up to longest samples later, every hop samples.
const (
	workRate = 16000
	window   = 1024
	hop      = 256
	longest  = 576 // 27.8 Hz: below the lowest note of a piano
	shortest = 6   // 2667 Hz: above the highest note of the flute's third octave
	frame    = window + longest
	// listenLimit bounds what is measured of a file, as in package align.
	listenLimit = 45 * 60
)

// Listen reads src to its end in one pass and returns its steady tones.
//
// The pitch of each window is found by the difference function of YIN (A. de
// Cheveigné and H. Kawahara, "YIN, a fundamental frequency estimator for speech
// and music", J. Acoust. Soc. Am. 111 (2002)), and sharpened at multiples of
// the period. Windows that are not periodic (chords, drums, noise, talking) or
// soft against the file's own noise give nothing. Neighbouring windows of one
// pitch are a tone; tones under about 0.1 s are dropped.
//
// The only errors are those of the source and of an impossible rate or channel
// count. NaN and infinite samples count as silence.
func Listen(src audio.Source) (*Tones, error) {
	if src.Rate() < 4000 || src.Rate() > resample.MaxRate || src.Channels() < 1 {
		return nil, fmt.Errorf("playing: cannot listen to %d channels at %d hertz", src.Channels(), src.Rate())
	}
	slow := resample.New(audio.NewMono(src), workRate, 0, 0, 0)
	ear := newEar()
	for b, err := range audio.Blocks(slow, 1<<13) {
		if err != nil {
			return nil, err
		}
		ear.hear(b[0])
	}
	return ear.tones(), nil
}

// ear collects what it hears window by window.
type ear struct {
	yin    *yin
	dull   dull
	buf    []float64
	at     int // sample of buf[0]
	frames int // windows measured
	levels []float32
	run    run
	steady []Tone
}

// newEar returns an ear that has heard nothing.
func newEar() *ear { return &ear{yin: newYIN()} }

// dull takes away what is above the pitches looked for: strong high partials
// make a dip of the difference function narrower than the step between samples.
// Three poles, one after another, shift every partial's phase and no pitch.
type dull [3]float64

// append adds x without its brilliance to buf.
func (d *dull) append(buf, x []float64) []float64 {
	const edge = 1800 // hertz
	const share = 1 - 1/(1+2*math.Pi*edge/workRate)
	for _, v := range x {
		for i := range d {
			d[i] += share * (v - d[i])
			v = d[i]
		}
		buf = append(buf, v)
	}
	return buf
}

// hear takes the next samples at the working rate and notes the pitch of every
// window.
func (e *ear) hear(x []float64) {
	e.buf = e.dull.append(e.buf, x)
	begin := 0
	for ; begin+frame <= len(e.buf); begin += hop {
		if e.frames++; e.frames*hop > listenLimit*workRate {
			continue
		}
		period, level := e.yin.measure(e.buf[begin : begin+frame])
		e.levels = append(e.levels, float32(level))
		note := math.NaN()
		if period > 0 {
			note = 69 + 12*math.Log2(workRate/period/440)
		}
		// The window and its shifted copy lie about the middle of both.
		middle := float64(e.at+begin) + (window+period)/2
		e.put(middle/workRate, note, level)
	}
	e.at += begin
	e.buf = e.buf[:copy(e.buf, e.buf[begin:])]
}

// put adds a window's pitch to the tone that sounds, or ends it.
func (e *ear) put(at, note, level float64) {
	if !math.IsNaN(note) && e.run.holds(note) {
		e.run.add(at, note, level)
		return
	}
	e.end()
	if !math.IsNaN(note) {
		e.run.add(at, note, level)
	}
}

// end closes the tone that sounds at the end of the file.
func (e *ear) end() {
	if t, ok := e.run.tone(); ok {
		e.steady = append(e.steady, t)
	}
	e.run.reset()
}

// tones ends the listening. What is within 12 dB of the file's noise goes: the
// noise is the level that nine tenths of the windows exceed, and the playing
// that which one twentieth exceed.
func (e *ear) tones() *Tones {
	e.end()
	t := &Tones{Version: Version, Seconds: float64(e.at+len(e.buf)) / workRate}
	if len(e.levels) == 0 {
		return t
	}
	noise := float64(robust.LowerQuantile(e.levels, 0.1))
	loud := float64(robust.LowerQuantile(e.levels, 0.95))
	// A file without a rest has no noise to compare with.
	gate := min(noise+12, loud-20)
	for _, s := range e.steady {
		if s.Level > gate && s.Level > -75 {
			t.Steady = append(t.Steady, s)
		}
	}
	return t
}
