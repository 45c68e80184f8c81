package simulate

import (
	"math"
	"math/rand/v2"
)

// device is what a microphone and what follows it make of the sound in front.
type device struct {
	level   float64 // dBFS, root mean square of the music
	noise   float64 // dBFS
	hum     float64 // amplitude
	mains   float64 // hertz
	gain    float64 // dB after all that: clips, or next to nothing
	riding  bool    // level control
	slow    float64 // seconds in which it turns the level up again
	low     float64 // hertz below which little is left
	high    float64 // hertz above which little is left
	ring    float64 // hertz of a small box's own resonance
	ringing float64 // its amplitude
}

// newDevice draws a phone, or the microphone beside it.
func newDevice(r *rand.Rand, l Level, separate bool) device {
	d := device{
		level: -27 + 7*r.Float64(), noise: [...]float64{-62, -56, -50}[l] + [...]float64{6, 14, 14}[l]*r.Float64(),
		mains: []float64{50, 60}[r.IntN(2)], slow: 0.3 + r.Float64(),
		low: 80 + 60*r.Float64(), high: 5000 + 12000*r.Float64(), ring: 2500 +
			1500*r.Float64(), ringing: 0.5 * r.Float64(),
	}
	hum, gain, riding := r.Float64(), r.Float64(), r.Float64()
	if hum < [...]float64{0, 0.1, 0.15}[l] {
		d.hum = math.Pow(10, (-48+8*r.Float64())/20)
	}
	switch odd := [...]float64{0, 0.1, 0.1}[l]; {
	case gain < odd:
		d.gain = 17 // clips
	case gain < 2*odd:
		d.gain = -21
	}
	d.riding = riding < [...]float64{0, 0.25, 0.3}[l]
	if separate {
		d.noise, d.low, d.ringing, d.riding, d.gain = d.noise-8, 30, 0, false, 0
	}
	return d
}

// apply turns sound in which the music lies at level into a file.
func (d device) apply(r *rand.Rand, x []float64, rate int) {
	d.colour(x, rate)
	// Uniform noise between -1 and 1 has a third of the power of 1. Half of the power is pink noise, a
	// quarter white noise up to 24 kHz, of which a file of a lower rate holds less.
	noise, w := math.Sqrt(3)*math.Pow(10, d.noise/20), 2*math.Pi*d.mains/float64(rate)
	hiss, white := newPink(rate), 0.5*math.Sqrt(float64(rate)/48000)
	for i := range x {
		x[i] += noise * (0.7*hiss.next(2*r.Float64()-1) + white*(2*r.Float64()-1))
	}
	if d.hum > 0 {
		for i := range x {
			p := w * float64(i)
			x[i] += d.hum * (math.Sin(p) + 0.6*math.Sin(2*p+1) + 0.3*math.Sin(3*p+2))
		}
	}
	if d.riding {
		d.ride(x, rate)
	}
	gain := math.Pow(10, d.gain/20)
	for i, v := range x {
		x[i] = math.Max(-1, math.Min(1, gain*v))
	}
}

// colour applies the response of a small microphone.
func (d device) colour(x []float64, rate int) {
	a := math.Exp(-2 * math.Pi * d.low / float64(rate))
	var low, was float64
	for i, v := range x {
		low = a * (low + v - was)
		was = v
		x[i] = low
	}
	if d.ringing > 0 && d.ring < 0.4*float64(rate) {
		radius := math.Exp(-math.Pi * d.ring / 1.2 / float64(rate))
		c, s := 2*radius*math.Cos(2*math.Pi*d.ring/float64(rate)), radius*radius
		g := d.ringing * (1 - radius)
		var y1, y2 float64
		for i, v := range x {
			y := g*v + c*y1 - s*y2
			y2, y1 = y1, y
			x[i] = v + y
		}
	}
	lowpass(x, d.high, rate)
}

// ride applies level control: above -16 dBFS a third of the excess is left, below
// half of the lack is made up, 14 dB at most; it turns down within 15 ms. Common
// practice, no source.
func (d device) ride(x []float64, rate int) {
	const target, most = -16.0, 14.0
	hop := rate / 200
	down, up := math.Exp(-0.005/0.015), math.Exp(-0.005/d.slow)
	level, gain := -60.0, 1.0
	for from := 0; from < len(x); from += hop {
		part := x[from:min(len(x), from+hop)]
		now := 10 * math.Log10(power(part)+1e-14)
		keep := up
		if now > level {
			keep = down
		}
		level = keep*level + (1-keep)*now
		want := math.Min(most, (target-level)/2)
		if level > target {
			want = (target - level) * 2 / 3
		}
		next := math.Pow(10, want/20)
		for i := range part {
			part[i] *= gain + (next-gain)*float64(i)/float64(len(part))
		}
		gain = next
	}
}

// pink turns white noise into noise that falls by about 3 dB an octave: a sum
// of low passes, spaced by a factor of four, each half as loud in power as the
// one below it.
type pink struct{ keep, gain, state [6]float64 }

// newPink returns a source of pink noise of unit power, from white noise of unit power, that
// goes down to 20 Hz at rate hertz.
func newPink(rate int) *pink {
	p := &pink{}
	for k := range p.keep {
		f := 20 * math.Pow(4, float64(k))
		a := math.Exp(-2 * math.Pi * math.Min(f, 0.45*float64(rate)) / float64(rate))
		p.keep[k] = a
		// White noise through such a low pass has (1-a)/(1+a) of its power; each
		// is given the same, so that a band of each octave holds as much.
		p.gain[k] = math.Sqrt((1+a)/(1-a)) * (1 - a)
	}
	p.scale()
	return p
}

// scale brings the noise to unit power: all low passes have the same white noise, so what they
// make of it adds up, two by two, to g1·g2/(1 - a1·a2).
func (p *pink) scale() {
	var power float64
	for i := range p.keep {
		for j := range p.keep {
			power += p.gain[i] * p.gain[j] / (1 - p.keep[i]*p.keep[j])
		}
	}
	for i := range p.gain {
		p.gain[i] /= math.Sqrt(power)
	}
}

// next returns the next sample of pink noise from one of white noise.
func (p *pink) next(white float64) float64 {
	var sum float64
	for k := range p.keep {
		p.state[k] = p.keep[k]*p.state[k] + p.gain[k]*white
		sum += p.state[k]
	}
	return sum
}

// lowpass applies one pole, twice: a dull microphone or codec.
func lowpass(x []float64, f float64, rate int) {
	if f >= 0.45*float64(rate) {
		return
	}
	a := 1 - math.Exp(-2*math.Pi*f/float64(rate))
	var one, two float64
	for i, v := range x {
		one += a * (v - one)
		two += a * (one - two)
		x[i] = two
	}
}
