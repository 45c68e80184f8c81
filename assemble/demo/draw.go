package demo

import (
	"hash/fnv"
	"math"
	"math/rand/v2"

	"ripieno/mix/tempo"
)

// newRandom returns a source of chance of its own for every purpose, so that adding a
// player or a file changes nothing for the others.
func newRandom(seed uint64, purpose string) *rand.Rand {
	h := fnv.New64a()
	h.Write([]byte(purpose))
	return rand.New(rand.NewPCG(seed, h.Sum64()))
}

// Ranges of what differs between people and devices. Consumer crystals are
// specified at 10 to 50 ppm, and whole devices are seen at up to 100 (common
// practice).
const (
	biasMS     = 25.0 // habit of being early or late, either way
	jitterLow  = 5.0  // chance at each note, standard deviation in ms
	jitterHigh = 12.0
	clapMS     = 20.0 // the clap, either way
	phoneDrift = 80.0 // ppm, either way
	micDrift   = 30.0
)

// draw decides by lot what the cast leaves open: when each device was started
// and how its clock runs, and how each player keeps time. Everything is
// rounded to what truth.yaml prints, so that the file is exact.
func draw(seed uint64, cast []player, m *tempo.Map) {
	for i := range cast {
		p := &cast[i]
		r := newRandom(seed, "player "+p.take)
		p.biasMS = round(biasMS*(2*r.Float64()-1), 1)
		p.jitterMS = round(jitterLow+(jitterHigh-jitterLow)*r.Float64(), 1)
		p.clapErrorMS = round(clapMS*(2*r.Float64()-1), 1)
		p.phase = r.Float64()
		if p.camera != nil {
			p.camera.clock = drawClock(r, m, phoneDrift)
		}
		if p.mic != nil {
			drift := micDrift
			if p.camera == nil {
				drift = phoneDrift // a phone used as a recorder
			}
			p.mic.clock = drawClock(r, m, drift)
		}
	}
}

// drawClock starts most recordings some seconds before the guide, and some
// after it but well before the clap, and ends them some seconds after the
// last note.
func drawClock(r *rand.Rand, m *tempo.Map, drift float64) clock {
	c := clock{offset: -2 - 10*r.Float64()}
	if r.IntN(4) == 0 {
		c.offset = 0.3 + 2.7*r.Float64()
		c.offset = min(c.offset, m.Cue()-1.5)
	}
	c.offset = round(c.offset, 4)
	c.drift = round(drift*(2*r.Float64()-1), 1)
	c.length = round(c.file(m.End()+2.8+2.2*r.Float64()), 2)
	return c
}

// round returns v rounded to so many decimals, half away from zero.
func round(v float64, decimals int) float64 {
	p := math.Pow10(decimals)
	return math.Round(v*p) / p
}
