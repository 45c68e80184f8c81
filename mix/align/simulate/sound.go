package simulate

import (
	"math"
	"math/rand/v2"
)

// add renders what is no note at a file time, to a fraction of a sample, with a
// peak of about scale.
func add(x []float64, rate float64, s sound, at, scale float64, r *rand.Rand) {
	loud := scale * math.Pow(10, s.loud/20)
	switch s.kind {
	case "clap":
		// Hands meet in a few places within some milliseconds.
		hertz := 900 + 1300*r.Float64()
		for k := range 1 + r.IntN(3) {
			late := 0.0
			if k > 0 {
				late = 0.0008 + 0.005*r.Float64()
			}
			burst(x, rate, at+late, 0.0004, 0.004+0.006*r.Float64(), []float64{hertz, 2.1 * hertz}, 0.9*loud, r)
		}
	case "snap":
		hertz := 1800 + 1400*r.Float64()
		burst(x, rate, at, 0.0003, 0.0025, []float64{hertz}, loud, r)
		tone(x, rate, at, 0.006, hertz, 0.5*loud)
	case "thump":
		burst(x, rate, at, 0.003, 0.012, []float64{200}, 0.3*loud, r)
		tone(x, rate, at, 0.05, 55+65*r.Float64(), 0.8*loud)
	case "bang": // a door: a boom and dull noise, then the latch
		tone(x, rate, at, 0.09, 70, 0.8*loud)
		burst(x, rate, at, 0.004, 0.03, []float64{180, 500}, 0.5*loud, r)
		burst(x, rate, at+0.02, 0.0005, 0.015, []float64{800, 2000}, 0.4*loud, r)
	case "touch": // a finger on the device
		burst(x, rate, at, 0.0005, 0.002, []float64{1000}, 0.6*loud, r)
		tone(x, rate, at, 0.02, 180, 0.6*loud)
	case "speech":
		syllable(x, rate, s, at, loud, r)
	case "rustle":
		rustle(x, rate, s, at, loud, r)
	}
}

// window gives the samples [from, to) that lie in x for a span of file time.
func window(x []float64, rate, at, length float64) (from, to int) {
	return max(0, int(math.Ceil(at*rate))), min(len(x), int((at+length)*rate))
}

// play renders a note's partials under its envelope. Vibrato sets in after a
// while, and moves each partial's loudness with its pitch, since bodies and
// rooms do not answer all pitches alike.
func play(x []float64, rate float64, s sound, at float64, r *rand.Rand) {
	in := s.as
	f0 := 440 * math.Pow(2, (float64(s.pitch)-69)/12)
	if s.tied {
		in.release = math.Min(in.release, 0.05) // stopped by the next finger
	}
	from, to := window(x, rate, at, s.length+2*in.release)
	env := make([]float64, max(0, to-from))
	if len(env) == 0 {
		return
	}
	in.envelope(env, float64(from)/rate-at, 1/rate, s.length)
	loud := 0.2 * s.loud
	const step = 32 // samples between two looks at the vibrato
	speed, onset := 2*math.Pi*(4.8+1.4*r.Float64())/rate, 0.15+0.2*r.Float64()
	for k, level := range in.partials {
		f := f0 * float64(k+1)
		phase, sway, lean := 2*math.Pi*r.Float64(), 2*math.Pi*r.Float64(), 0.35*r.Float64()
		if level == 0 || f > 0.45*rate {
			continue
		}
		w := 2 * math.Pi * f / rate
		sin, cos := math.Sincos(phase)
		rs, rc := math.Sincos(w)
		gain, slope := level*loud, 0.0
		// The higher the partial, the later it joins.
		dark, light := 0.0, math.Exp(-1/(rate*(0.5*in.attack+0.002)))
		if in.held() {
			dark = math.Min(0.8, 0.2*float64(k))
		}
		for i, a := range env {
			if i%step == 0 && in.vibrato > 0 {
				deep := in.vibrato * math.Max(0, math.Min(1, (float64(from+i)/rate-at-onset)/0.2))
				turn := speed * float64(i)
				rs, rc = math.Sincos(w * (1 + 0.0578*deep*math.Sin(turn)))
				slope = (level*loud*(1+3*deep*lean*math.Sin(turn+sway)) - gain) / step // no jump
			}
			gain += slope
			sin, cos = sin*rc+cos*rs, cos*rc-sin*rs
			x[from+i] += a * gain * (1 - dark) * sin
			dark *= light
		}
	}
	if in.breath > 0 {
		hiss := math.Max(in.attack, 0.012)
		scale := 0.75 * loud * in.breath * math.Exp(-(float64(from)/rate-at)/hiss)
		fall := math.Exp(-1 / (rate * hiss))
		for i, a := range env {
			x[from+i] += a * scale * (2*r.Float64() - 1)
			scale *= fall
		}
	}
}

// burst adds noise through resonances with a sharp rise.
func burst(x []float64, rate, at, rise, fall float64, freqs []float64, loud float64, r *rand.Rand) {
	from, to := window(x, rate, at, 8*fall)
	type resonator struct{ y1, y2, a1, a2, g float64 }
	bank := make([]resonator, 0, len(freqs))
	for _, f := range freqs {
		if f < 0.45*rate {
			radius := math.Exp(-math.Pi * f * 0.35 / rate)
			bank = append(bank, resonator{a1: 2 * radius * math.Cos(2*math.Pi*f/rate), a2: -radius * radius,
				g: 1 - radius})
		}
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

// tone adds a short sound with a pitch.
func tone(x []float64, rate, at, fall, f, loud float64) {
	from, to := window(x, rate, at, 8*fall)
	for i := from; i < to; i++ {
		age := float64(i)/rate - at
		x[i] += loud * math.Sin(2*math.Pi*f*age) * math.Exp(-age/fall)
	}
}

// syllable adds a voiced sound with two formants, now and then after a hiss,
// enough to look like speech to an onset detector.
func syllable(x []float64, rate float64, s sound, at, loud float64, r *rand.Rand) {
	f0 := 440 * math.Pow(2, (float64(s.pitch)-69)/12)
	form := []float64{300 + 500*r.Float64(), 900 + 1400*r.Float64()}
	from, to := window(x, rate, at, s.length)
	if r.Float64() < 0.4 {
		rustle(x, rate, sound{length: 0.05}, at-0.05, 0.3*loud, r)
	}
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
			x[i] += loud * g * 0.3 * math.Sqrt(math.Sin(math.Pi*u)) * sin
		}
	}
}

// rustle adds bright noise that comes and goes: paper, clothes, a hiss.
func rustle(x []float64, rate float64, s sound, at, loud float64, r *rand.Rand) {
	from, to := window(x, rate, at, s.length)
	knots := make([]float64, 3+int(s.length*14))
	for k := range knots {
		knots[k] = math.Pow(r.Float64(), 3)
	}
	knots[0], knots[len(knots)-1] = 0, 0
	if len(knots) == 3 {
		knots[1] = 1
	}
	was := 0.0
	for i := from; i < to; i++ {
		u := (float64(i)/rate - at) / s.length * float64(len(knots)-1)
		k := max(0, min(int(u), len(knots)-2))
		white := 2*r.Float64() - 1
		x[i] += 0.5 * loud * (white - was) * (knots[k] + (u-float64(k))*(knots[k+1]-knots[k]))
		was = white
	}
}
