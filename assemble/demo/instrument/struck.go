package instrument

import (
	"math"
	"math/rand/v2"
)

// struck is a plucked or struck kind: modes that start together and die away
// each at its own pace.
type struck struct {
	modes  func(hz float64) []mode
	damp   float64 // seconds the tone takes to die after its End
	rings  float64 // seconds a tone rings on after End before it is damped
	peak   float64 // peak amplitude at Level 1
	click  float64 // noise of the pick or mallet against the tone
	clicks float64 // hertz, centre of that noise
}

// mode is one way the body vibrates.
type mode struct{ hz, amp, decay float64 }

var struckKinds = map[Kind]struck{
	// A nylon string plucked at a fifth of its length: harmonic n has
	// sin(nπ/5)/n² in the string (from memory of the ideal plucked string), but
	// a guitar's top radiates its quick modes better, so it falls more slowly.
	Guitar: {
		modes: func(hz float64) []mode {
			var all []mode
			for n := 1; n <= 14; n++ {
				stiff := math.Sqrt(1 + 4e-5*float64(n*n))
				f := hz * float64(n) * stiff
				if f > 9000 {
					break
				}
				body := 1 + formant(f, 110, 40, 0.5) + formant(f, 220, 60, 0.6) + formant(f, 420, 120, 0.4)
				a := math.Abs(math.Sin(float64(n)*math.Pi/5)) / math.Pow(float64(n), 1.1) * body
				all = append(all, mode{f, a, 1.7 / (1 + 0.25*float64(n)) * math.Sqrt(150/max(hz, 80))})
			}
			return all
		},
		damp: 0.08, rings: 0.5, peak: 0.42, click: 0.05, clicks: 1800,
	},
	// A free bar: transverse modes at 1, 2.756 and 5.404 times the lowest
	// (textbook values for a uniform free-free bar).
	Glockenspiel: {
		modes: func(hz float64) []mode {
			all := []mode{{hz, 1, 0.9}, {hz * 2.756, 0.28, 0.25}, {hz * 5.404, 0.1, 0.08}}
			for len(all) > 1 && all[len(all)-1].hz > 19000 {
				all = all[:len(all)-1]
			}
			return all
		},
		damp: 0.25, rings: 1.4, peak: 0.3, click: 0.12, clicks: 5000,
	},
}

// play adds one tone.
func (s struck) play(dst []float64, t Tone, random *rand.Rand) {
	stop := t.End + s.rings
	from, to := span(t.Start, stop+s.damp, len(dst))
	if from >= to {
		return
	}
	modes := s.modes(t.Hz)
	total := 0.0
	for _, m := range modes {
		total += m.amp
	}
	tone := make([]float64, to-from)
	for i, m := range modes {
		amp := s.peak / total * m.amp
		if i > 0 {
			amp *= math.Sqrt(t.Level) // a soft touch is a dark one
		}
		ring(tone, float64(from)/Rate-t.Start, mode{m.hz, amp, m.decay})
	}
	knock := newBand(s.clicks, 0.8)
	for i := range tone {
		at := float64(from+i)/Rate - t.Start
		// The finger lets go of the string within about a millisecond.
		edge := smooth(at / 0.0012)
		if at < 0.03 {
			tone[i] = tone[i]*edge + s.click*s.peak*knock.next(noise(random))*edge*math.Exp(-at/0.005)*4
		}
		if over := float64(from+i)/Rate - stop; over > 0 {
			tone[i] *= 1 - smooth(over/s.damp)
		}
		dst[from+i] += t.Level * tone[i]
	}
}

// ring adds a dying sine that began at 0 with phase 0, from the moment at on.
// The recurrence x[n+1] = 2·r·cos w·x[n] − r²·x[n−1] needs no sine per sample.
func ring(dst []float64, at float64, m mode) {
	w := 2 * math.Pi * m.hz / Rate
	r := math.Exp(-1 / (m.decay * Rate))
	value := func(t float64) float64 {
		return m.amp * math.Exp(-t/m.decay) * math.Sin(2*math.Pi*m.hz*t)
	}
	before, now := value(at-1.0/Rate), value(at)
	c, d := 2*r*math.Cos(w), r*r
	for i := range dst {
		dst[i] += now
		before, now = now, c*now-d*before
	}
}
