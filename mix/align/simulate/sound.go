package simulate

import (
	"math"
	"math/rand/v2"
)

// add renders a sound that begins at a file time, to a fraction of a sample.
func (t *Take) add(x []float64, s sound, at float64, r *rand.Rand) {
	rate := float64(t.rate)
	switch s.kind {
	case "note":
		t.note(x, s, at, r)
	case "clap":
		burst(x, rate, at, 0.0004, 0.012+0.01*r.Float64(), []float64{900 + 600*r.Float64(), 2200 + 900*r.Float64()}, s.loud*3, r)
	case "snap":
		burst(x, rate, at, 0.0003, 0.006+0.004*r.Float64(), []float64{2400 + 1200*r.Float64()}, s.loud*2, r)
	case "thump":
		burst(x, rate, at, 0.004, 0.05, []float64{110 + 60*r.Float64(), 300}, s.loud*2, r)
	case "bang":
		burst(x, rate, at, 0.001, 0.12, []float64{180, 500, 1400}, s.loud*3, r)
	case "speech":
		t.syllable(x, s, at, r)
	case "click":
		tone(x, rate, at, 0.004, 1700, s.loud)
	case "high":
		tone(x, rate, at, 0.012, 3100, s.loud*1.4)
	}
}

// window gives the samples [from, to) that lie in x for a span of file time.
func window(x []float64, rate, at, length float64) (from, to int) {
	return max(0, int(math.Ceil(at*rate))), min(len(x), int((at+length)*rate))
}

// note renders partials under the instrument's envelope.
func (t *Take) note(x []float64, s sound, at float64, r *rand.Rand) {
	rate, in := float64(t.rate), t.p.inst
	f0 := 440 * math.Pow(2, (float64(s.pitch)-69)/12)
	if s.tied {
		in.release = 0.02 // stopped by the next finger
	}
	total := s.length + 3*in.release
	from, to := window(x, rate, at, total)
	attack := in.attack * (0.8 + 0.4*r.Float64())
	if s.slur {
		attack = math.Min(attack, 0.02+0.02*r.Float64())
		in.breath = 0
	}
	env := make([]float64, max(0, to-from))
	for i := range env {
		age := float64(from+i)/rate - at
		a := 1.0
		if age < attack {
			a = math.Pow(age/attack, in.shape)
		}
		if !math.IsInf(in.decay, 1) {
			a *= math.Exp(-6.9 * age / in.decay)
		}
		if age > s.length {
			a *= math.Exp(-3 * (age - s.length) / in.release)
		}
		env[i] = a * s.loud * 0.5
	}
	for k, level := range in.partials {
		f := f0 * float64(k+1)
		if level == 0 || f > 0.45*rate {
			continue
		}
		phase, w := 2*math.Pi*r.Float64(), 2*math.Pi*f/rate
		sin, cos := math.Sincos(phase)
		rs, rc := math.Sincos(w)
		vib := in.vibrato * 0.03
		lfo := 2 * math.Pi * 5.5 / rate
		for i, a := range env {
			if vib > 0 && i%64 == 0 {
				rs, rc = math.Sincos(w * (1 + vib*math.Sin(lfo*float64(i))))
			}
			sin, cos = sin*rc+cos*rs, cos*rc-sin*rs
			x[from+i] += a * level * 0.4 * sin
		}
	}
	if in.breath > 0 {
		hiss := math.Max(attack, 0.012)
		for i, a := range env {
			age := float64(from+i)/rate - at
			x[from+i] += a * in.breath * 0.3 * math.Exp(-age/hiss) * (2*r.Float64() - 1)
		}
	}
}

// burst is noise through resonances with a sharp rise.
func burst(x []float64, rate, at, rise, fall float64, freqs []float64, loud float64, r *rand.Rand) {
	from, to := window(x, rate, at, 8*fall)
	type resonator struct{ y1, y2, a1, a2, g float64 }
	bank := make([]resonator, len(freqs))
	for i, f := range freqs {
		radius := math.Exp(-math.Pi * f * 0.35 / rate)
		bank[i] = resonator{a1: 2 * radius * math.Cos(2*math.Pi*f/rate), a2: -radius * radius, g: 1 - radius}
	}
	for i := from; i < to; i++ {
		age := float64(i)/rate - at
		v := loud * (2*r.Float64() - 1) * (1 - math.Exp(-age/rise)) * math.Exp(-age/fall)
		y := 0.3 * v
		for k := range bank {
			b := &bank[k]
			o := b.g*v*3 + b.a1*b.y1 + b.a2*b.y2
			b.y2, b.y1 = b.y1, o
			y += o
		}
		x[i] += y
	}
}

// tone is a short click with a pitch.
func tone(x []float64, rate, at, fall, f, loud float64) {
	from, to := window(x, rate, at, 8*fall)
	for i := from; i < to; i++ {
		age := float64(i)/rate - at
		x[i] += loud * math.Sin(2*math.Pi*f*age) * math.Exp(-age/fall)
	}
}

// syllable is a voiced sound with two formants, enough to look like speech to
// an onset detector.
func (t *Take) syllable(x []float64, s sound, at float64, r *rand.Rand) {
	rate := float64(t.rate)
	f0 := 440 * math.Pow(2, (float64(s.pitch)-69)/12)
	form := []float64{300 + 500*r.Float64(), 900 + 1400*r.Float64()}
	from, to := window(x, rate, at, s.length)
	for h := 1; h <= 18; h++ {
		f := f0 * float64(h)
		g := 0.0
		for _, c := range form {
			g += math.Exp(-math.Pow((f-c)/180, 2))
		}
		if g < 0.02 || f > 0.45*rate {
			continue
		}
		w := 2 * math.Pi * f / rate
		sin, cos := math.Sincos(2 * math.Pi * r.Float64())
		rs, rc := math.Sincos(w)
		for i := from; i < to; i++ {
			u := (float64(i)/rate - at) / s.length
			sin, cos = sin*rc+cos*rs, cos*rc-sin*rs
			x[i] += s.loud * g * 0.3 * math.Sin(math.Pi*u) * sin
		}
	}
}

// reverberate adds early reflections and a decaying tail.
func reverberate(r *rand.Rand, x []float64, rate int, wet float64) {
	dry := append([]float64(nil), x...)
	for range 6 {
		d := int((0.002 + 0.028*r.Float64()) * float64(rate))
		g := wet * (2*r.Float64() - 1) * 1.2
		for i := d; i < len(x); i++ {
			x[i] += g * dry[i-d]
		}
	}
	for k := range 4 {
		d := int((0.031 + 0.0073*float64(k) + 0.003*r.Float64()) * float64(rate))
		back := 0.68 + 0.1*r.Float64()
		line := make([]float64, d)
		for i, at := 0, 0; i < len(x); i++ {
			y := line[at]
			line[at] = dry[i] + back*y
			x[i] += wet * 0.35 * y
			if at++; at == d {
				at = 0
			}
		}
	}
}

// lowpass is one pole, twice: a dull microphone or codec.
func lowpass(x []float64, f float64, rate int) {
	a := 1 - math.Exp(-2*math.Pi*f/float64(rate))
	for range 2 {
		y := 0.0
		for i, v := range x {
			y += a * (v - y)
			x[i] = y
		}
	}
}
