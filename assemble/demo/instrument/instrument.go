// Package instrument makes sound: nine kinds of instruments, each by a small
// model of our own, and the clap of two hands.
//
// [Kind.Play] adds tones to a buffer that starts at guide time zero of the
// caller's choosing; the same tones and the same random source give the same
// samples. Blown and bowed kinds are sums of harmonics shaped by an envelope,
// with vibrato and breath or bow noise; plucked and struck kinds are sums of
// dying modes. The models aim at being told apart and pleasant, not at being
// taken for the real thing.
//
// Sound starts at a tone's Start exactly; how fast it rises is the kind's own
// matter (under 2 ms for a struck bar, 60 ms for a cello). Units: seconds,
// hertz, full scale ±1. There is no room and no microphone here.
package instrument

import (
	"math"
	"math/rand/v2"
)

// Rate is the sample rate of all buffers in hertz.
const Rate = 48000

// Kind is a kind of instrument.
type Kind int

// The kinds that can be played.
const (
	Flute Kind = iota
	Oboe
	Clarinet
	Horn
	Violin
	Viola
	Cello
	Guitar
	Glockenspiel
)

// Tone is one note as it is played.
type Tone struct {
	Start, End float64 // seconds from the buffer's first sample; rings on after End as the kind does
	Hz         float64 // pitch, greater than 0
	Level      float64 // 0 to 1
}

// Play adds tones to dst. Tones, or parts of them, outside dst are left out.
// The average level of a kind at Level 1 is about -18 dBFS.
func (k Kind) Play(dst []float64, tones []Tone, random *rand.Rand) {
	if s, ok := struckKinds[k]; ok {
		for _, t := range tones {
			s.play(dst, t, random)
		}
		return
	}
	v := voices[k]
	for i, t := range tones {
		// A tone that begins as the last one ends is slurred: the breath
		// goes on, and the attack is shorter.
		slurred := i > 0 && t.Start-tones[i-1].End < 0.015
		v.play(dst, t, slurred, random)
	}
}

// heardRise is the part of a rise, as [smooth] has it, after which a tone is 10 dB below its
// peak: 3x² − 2x³ = 10^(−10/20).
const heardRise = 0.375

// Heard returns how many seconds after its start a tone is heard to begin: when it stands 10 dB
// below its peak (Vos and Rasch 1981, "The perceptual onset of musical tones": 6 to 15, second
// hand). What is plucked or struck is heard at once.
func (k Kind) Heard(slurred bool) float64 {
	v := voices[k] // none of what is plucked or struck: nothing rises
	if slurred {
		return heardRise * v.slur
	}
	return heardRise * v.attack
}

// Hertz returns the pitch of a MIDI note number for A4 = a4 hertz, moved by cents:
// a4 · 2^((note−69)/12 + cents/1200), equal temperament.
func Hertz(note int, a4, cents float64) float64 {
	return a4 * math.Exp2(float64(note-69)/12+cents/1200)
}

// span returns the part of a tone that lies in a buffer of n samples: from is the
// first sample at or after start, and the sample times run from there.
func span(start, end float64, n int) (from, to int) {
	from = max(int(math.Ceil(start*Rate)), 0)
	to = min(int(math.Ceil(end*Rate)), n)
	return from, to
}

// band is a two-pole band-pass filter of constant peak gain 1. The form is the
// band-pass of Robert Bristow-Johnson's audio filter cookbook.
type band struct{ b0, a1, a2, x1, x2, y1, y2 float64 }

func newBand(hz, q float64) band {
	w := 2 * math.Pi * min(hz, 0.45*Rate) / Rate
	alpha := math.Sin(w) / (2 * q)
	a0 := 1 + alpha
	return band{b0: alpha / a0, a1: -2 * math.Cos(w) / a0, a2: (1 - alpha) / a0}
}

func (b *band) next(x float64) float64 {
	y := b.b0*(x-b.x2) - b.a1*b.y1 - b.a2*b.y2
	b.x2, b.x1, b.y2, b.y1 = b.x1, x, b.y1, y
	return y
}

// noise returns white, uniform in ±1: cheaper than a Gaussian and the filters
// behind it make the difference inaudible.
func noise(random *rand.Rand) float64 { return 2*random.Float64() - 1 }

// Clap adds one clap of two hands that meet at the given second of dst, with a
// peak near level. The sound is all there at once: hands make a burst of noise
// that rises in a third of a millisecond and rings in the hollow between them
// for some hundredths of a second.
func Clap(dst []float64, at, level float64, random *rand.Rand) {
	low := newBand(950+200*random.Float64(), 1.6)
	high := newBand(2100+500*random.Float64(), 1.2)
	from, to := span(at, at+0.25, len(dst))
	for i := from; i < to; i++ {
		t := float64(i)/Rate - at
		attack := 1 - math.Exp(-t/0.0001)
		e := attack * (0.8*math.Exp(-t/0.006) + 0.2*math.Exp(-t/0.035))
		x := noise(random) * e
		dst[i] += level * (0.35*x + 1.3*low.next(x) + 1.1*high.next(x))
	}
}
