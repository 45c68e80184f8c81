package instrument

import (
	"math"
	"math/rand/v2"
)

// voice is a blown or bowed kind.
type voice struct {
	spectrum func(n int, hz float64) float64 // amplitude of harmonic n at hz, any scale
	limit    float64                         // hertz; no harmonics above
	most     int                             // number of harmonics at most

	attack, slur, release float64 // seconds
	bright                float64 // how much more slowly high harmonics rise and how much they lose when soft
	scoop                 float64 // cents below pitch at the very start

	vibrato, vibratoHz, vibratoDelay float64 // cents, hertz, seconds until it is there
	shake                            float64 // loudness part of the vibrato, 0 to 1

	breath, breathHz, breathQ float64 // noise: level against the tone, band
	chiff                     float64 // noise of the attack: tongue, or bow biting the string
}

// formant returns a resonance of a body or a tube: a bump on a spectrum.
func formant(hz, at, width, gain float64) float64 {
	d := (hz - at) / width
	return gain * math.Exp(-d*d)
}

// The numbers are tuned by ear and by looking at spectra; they copy no
// measured instrument. Formant places follow what textbooks of musical
// acoustics give for the kinds (from memory): oboe near 1.1 and 2.7 kHz, horn
// near 450 Hz, a clarinet's even harmonics weak at the bottom, bridge hill of
// the violin near 2.5 kHz.
var voices = map[Kind]voice{
	Flute: {
		spectrum: func(n int, hz float64) float64 {
			return math.Pow(0.42, float64(n-1)) * (1 + formant(hz, 1200, 800, 0.5))
		},
		limit: 12000, most: 8, attack: 0.045, slur: 0.028, release: 0.06, bright: 0.8, scoop: 8,
		vibrato: 9, vibratoHz: 5.2, vibratoDelay: 0.25, shake: 0.14,
		breath: 0.035, breathHz: 2600, breathQ: 0.8, chiff: 0.2,
	},
	Oboe: {
		spectrum: func(n int, hz float64) float64 {
			return 0.25/float64(n) + formant(hz, 1150, 450, 1) + formant(hz, 2800, 700, 0.5)
		},
		limit: 14000, most: 20, attack: 0.025, slur: 0.018, release: 0.04, bright: 0.5, scoop: 5,
		vibrato: 8, vibratoHz: 5.6, vibratoDelay: 0.2, shake: 0.06,
		breath: 0.006, breathHz: 4500, breathQ: 1, chiff: 0.02,
	},
	Clarinet: {
		spectrum: func(n int, hz float64) float64 {
			a := 1 / math.Pow(float64(n), 1.15)
			if n%2 == 0 {
				a *= min(0.06+hz/9000, 0.6)
			}
			return a * (1 + formant(hz, 1500, 600, 0.6))
		},
		limit: 10000, most: 16, attack: 0.035, slur: 0.02, release: 0.05, bright: 0.9,
		vibrato: 0, vibratoHz: 5, shake: 0.02,
		breath: 0.008, breathHz: 3200, breathQ: 1, chiff: 0.03,
	},
	Horn: {
		spectrum: func(n int, hz float64) float64 {
			return math.Exp(-hz/1100) + formant(hz, 450, 260, 0.9)
		},
		limit: 7000, most: 18, attack: 0.045, slur: 0.03, release: 0.09, bright: 1.8, scoop: 25,
		vibrato: 2, vibratoHz: 4.6, vibratoDelay: 0.4, shake: 0.03,
		breath: 0.006, breathHz: 900, breathQ: 0.7, chiff: 0.06,
	},
	Violin: {
		spectrum: func(n int, hz float64) float64 {
			return (1 + formant(hz, 500, 180, 0.7) + formant(hz, 1000, 250, 0.4) +
				formant(hz, 2600, 900, 1.2)) / math.Pow(float64(n), 1.05)
		},
		limit: 14000, most: 20, attack: 0.05, slur: 0.028, release: 0.08, bright: 0.5,
		vibrato: 14, vibratoHz: 5.9, vibratoDelay: 0.18, shake: 0.10,
		breath: 0.012, breathHz: 3500, breathQ: 0.6, chiff: 0.06,
	},
	Viola: {
		spectrum: func(n int, hz float64) float64 {
			return (1 + formant(hz, 360, 140, 0.9) + formant(hz, 1300, 350, 0.8) +
				formant(hz, 2100, 600, 0.5)) / math.Pow(float64(n), 1.05)
		},
		limit: 11000, most: 22, attack: 0.055, slur: 0.03, release: 0.09, bright: 0.6,
		vibrato: 12, vibratoHz: 5.5, vibratoDelay: 0.2, shake: 0.09,
		breath: 0.012, breathHz: 2600, breathQ: 0.6, chiff: 0.06,
	},
	Cello: {
		spectrum: func(n int, hz float64) float64 {
			return (1 + formant(hz, 200, 90, 0.9) + formant(hz, 420, 150, 0.5) +
				formant(hz, 1600, 500, 0.6)) / math.Pow(float64(n), 0.95)
		},
		limit: 9000, most: 24, attack: 0.06, slur: 0.035, release: 0.11, bright: 0.6,
		vibrato: 11, vibratoHz: 5.1, vibratoDelay: 0.22, shake: 0.08,
		breath: 0.012, breathHz: 1800, breathQ: 0.6, chiff: 0.11,
	},
}

// step is the number of samples between changes of the spectrum: 0.7 ms.
const step = 32

// play adds one tone.
func (v voice) play(dst []float64, t Tone, slurred bool, random *rand.Rand) {
	from, to := span(t.Start, t.End+v.release, len(dst))
	// base is the spectrum of a loud tone, amps what is left of it now.
	base := v.amplitudes(t)
	amps := make([]float64, len(base))
	hiss := newBand(v.breathHz, v.breathQ)
	wobble := newBand(3, 0.7) // slow unsteadiness of a living player
	turn := random.Float64() * 2 * math.Pi
	theta, level := 0.0, 0.0
	var lean, loud, swing float64
	for i := from; i < to; i++ {
		at := float64(i)/Rate - t.Start
		if (i-from)%step == 0 {
			env := v.envelope(at, t.End-t.Start, slurred)
			depth := smooth((at - v.vibratoDelay*0.4) / max(v.vibratoDelay, 1e-3))
			vib := depth * math.Sin(turn+2*math.Pi*v.vibratoHz*at)
			lean = math.Exp2((v.vibrato*vib - v.scoop*math.Exp(-at/0.03)) / 1200)
			swing = 1 + v.shake*vib + 2.5*wobble.next(noise(random))
			loud = env
			for n := range base {
				// High harmonics need more breath or bow: they come late,
				// go early, and are weak in a soft tone.
				amps[n] = base[n] * math.Exp(v.bright*float64(n)*0.25*(env*(0.4+0.6*t.Level)-1))
			}
		}
		level += (loud*swing - level) * 0.02 // 1 ms, hides the steps
		theta += 2 * math.Pi * t.Hz * lean / Rate
		dst[i] += t.Level * level * harmonics(theta, amps)
		// The tongue or the bow's bite is there at once, long before the tone
		// has built up: it is what makes a slow instrument sound on time.
		bite := v.chiff * smooth(at/0.004) * math.Exp(-at/0.025)
		dst[i] += t.Level * (level*v.breath + bite) * hiss.next(noise(random))
	}
}

// amplitudes returns the harmonics of a tone, scaled so that every kind is about
// equally loud: the squares add up to 2·rms² of the full level.
func (v voice) amplitudes(t Tone) []float64 {
	const rms = 0.126 // -18 dBFS
	n := max(min(v.most, int(v.limit/t.Hz)), 1)
	amps := make([]float64, n)
	power := 0.0
	for i := range amps {
		amps[i] = v.spectrum(i+1, t.Hz*float64(i+1))
		power += amps[i] * amps[i]
	}
	for i := range amps {
		amps[i] *= rms * math.Sqrt(2/power)
	}
	return amps
}

// envelope returns the loudness of a tone of length seconds, at seconds after its
// start: a rounded rise, a slight swell, a rounded fall.
func (v voice) envelope(at, length float64, slurred bool) float64 {
	attack := v.attack
	if slurred {
		attack = v.slur
	}
	rise := smooth(at / min(attack, max(length, 0.02)))
	fall := 1 - smooth((at-length+0.01)/v.release)
	swell := 0.88 + 0.12*math.Sin(math.Pi*min(max(at/max(length, 0.05), 0), 1))
	return rise * fall * swell
}

// harmonics returns Σ amps[n-1]·sin(n·theta), by the recurrence
// sin((n+1)x) = 2·cos x·sin(nx) − sin((n−1)x): one sine and one cosine for any
// number of harmonics.
func harmonics(theta float64, amps []float64) float64 {
	s, c := math.Sincos(theta)
	before, now, sum := 0.0, s, 0.0
	for _, a := range amps {
		sum += a * now
		before, now = now, 2*c*now-before
	}
	return sum
}

// smooth returns a value that goes from 0 to 1 as x does, with level ends; outside it stays.
func smooth(x float64) float64 {
	x = min(max(x, 0), 1)
	return x * x * (3 - 2*x)
}
