package simulate

import (
	"math"
	"math/rand/v2"
	"slices"
)

// instrument is how a player's notes sound. A note rises within attack to first
// of its peak and swells to the peak, in even steps of level, in another swell
// seconds, as bows, lips and voices do, never quite evenly; what is struck or
// plucked is at its peak at once and decays.
type instrument struct {
	name     string
	attack   float64 // seconds
	shape    float64 // exponent of the rise: 1 straight, 2 slow to begin
	first    float64 // share of the peak
	swell    float64 // seconds
	rough    float64 // dB by which the level wavers, one standard deviation
	decay    float64 // seconds to fall by 60 dB while held; +Inf sustained
	release  float64 // seconds to fall by 26 dB when let go
	partials []float64
	breath   float64 // noise that comes with the attack
	vibrato  float64 // semitones either side
	centre   int     // MIDI note

	waver []float64 // of one note: gains, one every waverStep
}

// waverStep is the time between two of the levels between which a note wavers,
// in seconds.
const waverStep = 0.06

// The shapes were read off the notes of a General MIDI sound font in steps of 20
// ms: bowed ones stand 8 to 10 dB below their peak after 50 to 100 ms and need
// three tenths of a second more, horns and voices waver by some dB, reeds,
// flutes and trombones are all there after 60 ms. Bows and voices take 0.2 s to
// fade when let go, winds half of it.
var instruments = []instrument{
	{"struck bars", 0.001, 1, 1, 0, 0, 2, 0.2, []float64{1, 0, 0.5, 0, 0.3, 0.2}, 0.2, 0, 72, nil},
	{"plucked strings", 0.002, 1, 1, 0, 0, 2.5, 0.1, []float64{1, 0.7, 0.5, 0.4, 0.3, 0.2}, 0.15, 0, 57, nil},
	{"drum", 0.001, 1, 1, 0, 0, 1, 0.1, []float64{1, 0.6, 0.5}, 1, 0, 45, nil},
	{"reed", 0.03, 1.2, 0.85, 0.05, 0.5, math.Inf(1), 0.07, []float64{1, 0.2, 0.7, 0.2, 0.5, 0.3}, 0.1, 0.08, 67, nil},
	{"brass", 0.045, 1.3, 0.7, 0.06, 0.5, math.Inf(1), 0.1, []float64{1, 0.9, 0.8, 0.6, 0.45, 0.3}, 0.08, 0.03, 55,
		nil},
	{"flute", 0.055, 1.3, 0.75, 0.05, 0.5, math.Inf(1), 0.1, []float64{1, 0.35, 0.15, 0.05}, 0.2, 0.25, 76, nil},
	{"low brass", 0.045, 1, 0.65, 0.1, 0.7, math.Inf(1), 0.12, []float64{0.8, 1, 0.9, 0.7, 0.5, 0.3}, 0.08, 0, 41, nil},
	{"horn", 0.04, 1, 0.45, 0.18, 2.5, math.Inf(1), 0.12, []float64{1, 0.7, 0.4, 0.25, 0.1}, 0.06, 0, 57, nil},
	{"bowed", 0.05, 1, 0.38, 0.3, 1.5, math.Inf(1), 0.22, []float64{1, 0.6, 0.6, 0.4, 0.4, 0.3, 0.2}, 0.1, 0.3, 66,
		nil},
	{"low bowed", 0.075, 1, 0.36, 0.32, 1.2, math.Inf(1), 0.25, []float64{1, 0.8, 0.6, 0.5, 0.4, 0.3}, 0.1, 0.2, 48,
		nil},
	{"voice", 0.045, 1, 0.5, 0.12, 2.5, math.Inf(1), 0.25, []float64{1, 0.8, 0.5, 0.5, 0.2, 0.1}, 0.05, 0.45, 64, nil},
}

// newInstrument draws an instrument: seven in eight blow, bow or sing.
func newInstrument(r *rand.Rand) instrument {
	const struck = 3
	if held := instruments[struck:]; r.IntN(8) > 0 {
		return held[r.IntN(len(held))]
	}
	return instruments[r.IntN(struck)]
}

// newBow draws a bowed instrument: two in three are high ones.
func newBow(r *rand.Rand) instrument {
	want := "bowed"
	if r.IntN(3) == 0 {
		want = "low bowed"
	}
	return instruments[slices.IndexFunc(instruments, func(i instrument) bool { return i.name == want })]
}

// heardAt is the share of its peak at which a note is heard to begin: 10 dB
// below (Vos and Rasch, 1981, "The perceptual onset of musical tones": 6 to 15).
var heardAt = math.Pow(10, -10.0/20)

// leastFirst is the share of its peak at which a note stands at least after its attack.
const leastFirst = 0.2

// newEar returns at which share of its peak the notes of one player are heard to begin. Ten
// dB below it stands for most sounds: what listeners were found to go by lies between 6 and
// 15 dB (Vos and Rasch, 1981), by how loud a sound is and what it is made of, so nobody who
// measures a recording knows it better than this.
func newEar(r *rand.Rand) float64 {
	return heardAt * math.Pow(10, math.Max(-earMost, math.Min(earMost, earScatter*r.NormFloat64()))/20)
}

// earScatter is how far from 10 dB the ear's threshold lies, one standard deviation, and
// earMost how far at most, in dB.
const (
	earScatter = 1.2
	earMost    = 2.5
)

// ahead returns how long before a note is heard to begin, at a share of its peak, its player
// has to begin, as most notes of the instrument speak.
func (i instrument) ahead(ear float64) float64 {
	return i.attack * math.Pow(math.Min(1, ear/i.first), 1/i.shape)
}

// held reports whether notes sound on as long as the player wants.
func (i instrument) held() bool { return math.IsInf(i.decay, 1) }

// slow reports whether notes pull naive onset timing off.
func (i instrument) slow() bool { return i.held() && i.first < 0.6 }

// vary returns the instrument as one of its notes of some seconds sounds: low and
// soft ones speak later, and no two quite alike.
func (i instrument) vary(r *rand.Rand, s sound) instrument {
	if !i.held() {
		i.attack *= 0.8 + 0.4*r.Float64()
		return i
	}
	i.attack *= math.Exp(0.15*r.NormFloat64()) * math.Pow(2, float64(i.centre-s.pitch)/24) * (1.2 - 0.35*s.loud)
	i.first = math.Max(leastFirst, math.Min(1, i.first*math.Exp(0.1*r.NormFloat64())))
	i.swell *= 0.6 + 0.8*r.Float64()
	for k := range 3 + int((s.length+2*i.release)/waverStep) {
		rough := i.rough
		if k < 2 {
			rough /= 2
		}
		i.waver = append(i.waver, math.Pow(10, rough*r.NormFloat64()/20))
	}
	return i
}

// short returns the instrument as a note of so many seconds sounds on it that stands alone and is to
// be heard as a sign: it is struck with an accent, is at its peak in the middle of its length, and is
// stopped by the tongue, the bow or the throat instead of ringing on (staccato and martelé, from
// memory). Sampled violas' notes for a cue, 0.16 s long, lie 7 dB under their file's loud
// moments, half of them 12 dB down after 0.19 s; swelling and ringing as long notes do, bows had
// stood at 13 dB and rung for 0.3 s.
func (i instrument) short(length float64) instrument {
	if i.held() {
		i.attack = math.Min(i.attack, shortRise*length)
		i.swell = math.Min(i.swell, shortPeak*length-i.attack)
		i.release = math.Min(i.release, shortFall)
	}
	return i
}

// A short note rises within shortRise of its length and is at its peak after shortPeak of it;
// it falls by 26 dB within shortFall seconds.
const (
	shortRise = 0.4
	shortPeak = 0.6
	shortFall = 0.1
)

// envelope fills env with the course of a note's amplitude that begins at age
// seconds, a sample every step seconds, and is let go at length.
func (i instrument) envelope(env []float64, age, step, length float64) {
	fade, fall := math.Exp(-6.9*step/i.decay), 1.0
	let := math.Exp(-3 * step / i.release)
	bottom := math.Log(i.first)
	for k := range env {
		at := age + float64(k)*step
		a := 1.0
		switch {
		case at < 0:
			a = 0
		case at < i.attack:
			a = i.first * math.Pow(at/i.attack, i.shape)
		case at < i.attack+i.swell:
			a = math.Exp(bottom * (1 - (at-i.attack)/i.swell))
		}
		if n := len(i.waver) - 1; n > 0 {
			u := math.Max(0, at/waverStep)
			w := min(n-1, int(u))
			a *= i.waver[w] + math.Min(1, u-float64(w))*(i.waver[w+1]-i.waver[w])
		}
		fall *= fade
		if at > length {
			fall *= let
		}
		env[k] = a * fall
	}
}

// heard returns how long after it begins a note of some length is heard by an ear that
// goes by that share of its peak.
func (i instrument) heard(length, ear float64) float64 {
	if !i.held() {
		return i.ahead(ear)
	}
	const step = 0.001
	env := make([]float64, 1+int(length/step))
	i.envelope(env, 0, step, length)
	top := 0.0
	for _, a := range env {
		top = math.Max(top, a)
	}
	for k, a := range env {
		if want := ear * top; a >= want && k > 0 {
			return step * (float64(k) - (a-want)/math.Max(1e-12, a-env[k-1]))
		}
	}
	return 0
}
