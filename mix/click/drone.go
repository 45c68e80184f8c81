package click

import (
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

const (
	// droneFade is the time of a drone's soft start and end in seconds.
	droneFade = 0.3
	// partials is how many harmonics a tone has at most.
	partials = 14
	// highest is the frequency above which a tone has no partials, in hertz.
	highest = 9000.0
)

// voice is one harmonic tone: the sum of a[k-1]·sin(2πkft). All partials are
// exact multiples, so it neither beats nor drifts.
type voice struct {
	perFrame float64 // cycles in one frame
	a        []float64
}

// newVoice shapes a tone like a reed organ's: partials fall as 1/k and faster
// above 2 kHz, so a low note can be heard on small headphones and a high one
// is not shrill.
func newVoice(f float64) voice {
	v := voice{perFrame: f / audio.Rate}
	for k := 1; k <= partials && (k == 1 || float64(k)*f < highest); k++ {
		r := float64(k) * f / 2000
		v.a = append(v.a, 1/(float64(k)*(1+r*r)))
	}
	return v
}

// drone is one span of one or two tones.
type drone struct {
	from, to audio.Frames
	fade     audio.Frames
	voices   []voice
	peak     float64 // no sample or point between samples is larger
}

// newDrone prepares a tone, with its fifth where it has one.
func newDrone(d Drone, pitchHz, gain float64) drone {
	out := drone{from: audio.FramesAt(d.From), to: audio.FramesAt(d.To)}
	out.fade = min(audio.FramesAt(droneFade), (out.to-out.from)/2)
	f := Frequency(d.MIDINote, pitchHz)
	out.voices = []voice{newVoice(f)}
	if d.Fifth {
		ratio := 1.5
		if d.EqualFifth {
			ratio = math.Exp2(7.0 / 12)
		}
		out.voices = append(out.voices, newVoice(ratio*f))
	}
	if d.Octave {
		out.voices = append(out.voices, newVoice(2*f))
	}
	scale := gain * audio.Decibels(DroneLUFS-out.loudness()).Gain()
	for _, v := range out.voices {
		for i := range v.a {
			v.a[i] *= scale
		}
		out.peak += v.peak()
	}
	return out
}

// loudness returns that of the tones together, in LUFS: the short-term value, since
// a block of 400 ms holds too few periods of the lowest notes.
func (d drone) loudness() float64 {
	const frames = 3.2 * audio.Rate
	wave := make([]float64, frames)
	drone{to: frames, voices: d.voices}.add(wave, 0)
	m := loudness.NewMeter(1, audio.Rate)
	m.Write(audio.Block{wave})
	return float64(m.ShortTerm())
}

// peak returns the largest magnitude of the tone, from 64 points in the period of
// its highest partial, which is within 0.02 dB of the true maximum.
func (v voice) peak() float64 {
	n := 64 * len(v.a)
	peak := 0.0
	for i := range n {
		s, c := math.Sincos(2 * math.Pi * float64(i) / float64(n))
		peak = max(peak, math.Abs(sumSines(v.a, s, c)))
	}
	return peak * 1.0023
}

// sumSines returns the sum of a[k-1]·sin(kθ) for s = sin θ and c = cos θ, by
// Clenshaw's recurrence: one multiplication for each partial.
func sumSines(a []float64, s, c float64) float64 {
	var b1, b2 float64
	c2 := 2 * c
	for i := len(a) - 1; i >= 0; i-- {
		b1, b2 = a[i]+c2*b1-b2, b1
	}
	return b1 * s
}

// stretch is how many frames are made at a time, counted from the drone's
// start. Each stretch takes its phase anew from its number, which keeps
// rounding from adding up and makes a sample independent of its chunk.
const stretch = 256

// lanes is how many frames go through the recurrence side by side: one alone
// waits for each multiplication to end, four keep the processor busy.
const lanes = 4

// make fills out with stretch number k of the tone.
func (v voice) make(k audio.Frames, out *[stretch]float64) {
	_, phase := math.Modf(float64(k*stretch) * v.perFrame)
	var s, c [lanes]float64
	for j := range lanes {
		s[j], c[j] = math.Sincos(2 * math.Pi * (phase + float64(j)*v.perFrame))
	}
	step, stepCos := math.Sincos(2 * math.Pi * lanes * v.perFrame)
	for i := 0; i < stretch; i += lanes {
		var p0, p1, p2, p3, q0, q1, q2, q3 float64
		c0, c1, c2, c3 := 2*c[0], 2*c[1], 2*c[2], 2*c[3]
		for n := len(v.a) - 1; n >= 0; n-- {
			a := v.a[n]
			p0, q0 = a+c0*p0-q0, p0
			p1, q1 = a+c1*p1-q1, p1
			p2, q2 = a+c2*p2-q2, p2
			p3, q3 = a+c3*p3-q3, p3
		}
		out[i], out[i+1], out[i+2], out[i+3] = p0*s[0], p1*s[1], p2*s[2], p3*s[3]
		for j := range lanes {
			s[j], c[j] = s[j]*stepCos+c[j]*step, c[j]*stepCos-s[j]*step
		}
	}
}

// add adds the drone to a chunk that begins at frame from.
func (d drone) add(chunk []float64, from audio.Frames) {
	begin := max(d.from, from)
	end := min(d.to, from+audio.Frames(len(chunk)))
	var tone [stretch]float64
	for at := begin; at < end; {
		k, skip := (at-d.from)/stretch, (at-d.from)%stretch
		n := min(stretch-skip, end-at)
		for _, v := range d.voices {
			v.make(k, &tone)
			if at-d.from < d.fade || d.to-at-n < d.fade {
				for i := range n {
					tone[skip+i] *= d.envelope(at - d.from + i)
				}
			}
			for i, x := range tone[skip : skip+n] {
				chunk[at-from+audio.Frames(i)] += x
			}
		}
		at += n
	}
}

// envelope returns the raised cosine of the soft start and end, into frames after
// the drone's start.
func (d drone) envelope(into audio.Frames) float64 {
	edge := min(into, d.to-d.from-1-into)
	if edge >= d.fade {
		return 1
	}
	return 0.5 - 0.5*math.Cos(math.Pi*float64(edge)/float64(d.fade))
}

// loudestSum returns the largest sum of peaks of drones that sound at one time.
func loudestSum(drones []drone) float64 {
	most := 0.0
	for _, d := range drones {
		sum := 0.0
		for _, e := range drones {
			if e.from <= d.from && d.from < e.to {
				sum += e.peak
			}
		}
		most = max(most, sum)
	}
	return most
}

// Drone is a tone to tune to. It fades in after From and out before To, so
// that two that follow each other do not overlap. What lies outside the guide
// is left out.
type Drone struct {
	From, To   float64 // guide time in seconds, From < To
	MIDINote   int     // 0 to 127, 60 is C4
	Fifth      bool    // adds the fifth above, pure unless EqualFifth
	EqualFifth bool    // the fifth is 700 cents and not 701.955; it beats slowly
	Octave     bool    // adds the octave above
}

// Frequency returns the equal-tempered frequency of a MIDI note in hertz for a
// reference A4 in hertz: pitch·2^((note−69)/12).
func Frequency(note int, pitchHz float64) float64 {
	return pitchHz * math.Exp2(float64(note-69)/12)
}
