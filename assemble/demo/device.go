package demo

import (
	"math"
	"math/rand/v2"

	"ripieno/assemble/demo/instrument"
	"ripieno/mix/audio"
)

// air is sound in a room: samples at [instrument.Rate] from a guide time on.
type air struct {
	start    float64
	channels [][]float64
}

// record makes what the device writes down of a player's dry sound, which
// begins at guide time start. The direct sound arrives without delay: truth is
// when the player did it, not metres of air.
func (m microphone) record(dry []float64, start float64, random *rand.Rand) audio.Block {
	sound := m.hear(dry, start, random)
	n := int(m.clock.length * float64(m.rate))
	out := audio.NewBlock(m.channels, n)
	gain := audio.Decibels(m.level).Gain() / max(loudness(dry), 1e-6)
	for c := range out {
		m.clock.sample(out[c], m.rate, sound.channels[c], sound.start, gain)
		m.addNoise(out[c], random)
		for i, x := range out[c] {
			out[c][i] = limit(x)
		}
	}
	return out
}

// loudness returns the RMS of where there is sound: of the blocks of 50 ms whose
// power is more than a hundredth of the average.
func loudness(x []float64) float64 {
	const block = instrument.Rate / 20
	var powers []float64
	total := 0.0
	for i := 0; i+block <= len(x); i += block {
		sum := 0.0
		for _, v := range x[i : i+block] {
			sum += v * v
		}
		powers = append(powers, sum/block)
		total += sum / block
	}
	floor := total / float64(max(len(powers), 1)) / 100
	sum, n := 0.0, 0
	for _, p := range powers {
		if p > floor {
			sum += p
			n++
		}
	}
	return math.Sqrt(sum / float64(max(n, 1)))
}

// limit returns a converter's end: straight up to 0.8, then rounded toward 0.99.
func limit(x float64) float64 {
	const knee, room = 0.8, 0.19
	if a := math.Abs(x); a > knee {
		return math.Copysign(knee+room*math.Tanh((a-knee)/room), x)
	}
	return x
}

// addNoise adds the hiss of the device, the murmur of the room and the hum of
// the mains.
func (m microphone) addNoise(dst []float64, random *rand.Rand) {
	level := audio.Decibels(m.noise).Gain()
	hum := 0.0
	if m.hum < 0 {
		hum = audio.Decibels(m.hum).Gain() * math.Sqrt2
	}
	low := 0.0
	pole := math.Exp(-2 * math.Pi * 180 / float64(m.rate))
	turn := 2 * math.Pi * 50 / float64(m.rate)
	for i := range dst {
		white := 2*random.Float64() - 1
		// The murmur has the same power as the hiss: a one-pole low-pass
		// lets through (1−p)/(1+p) of it.
		low = pole*low + (1-pole)*white*math.Sqrt((1+pole)/(1-pole))
		dst[i] += level * (white + 1.1*low)
		if hum > 0 {
			s, c := math.Sincos(turn * float64(i))
			s2 := 2 * s * c
			dst[i] += hum * (0.7*s + 0.5*s2 + 0.3*(s2*c+s*(c*c-s*s)))
		}
	}
}

// hear puts the dry sound into the room, before the device's clock.
func (m microphone) hear(dry []float64, start float64, random *rand.Rand) air {
	sound := air{start: start}
	source := make([]float64, len(dry))
	copy(source, dry)
	m.touch(source, start, random)
	for range m.channels {
		out := make([]float64, len(source))
		copy(out, source)
		echo(out, source, m.wet, random)
		reverberate(out, source, m.wet, random)
		highPass(out, m.cut)
		sound.channels = append(sound.channels, out)
	}
	return sound
}

// touch adds the dull knock of a finger that starts the recording, and the one
// that stops it: every phone has them.
func (m microphone) touch(dst []float64, start float64, random *rand.Rand) {
	for _, at := range []float64{m.clock.guide(0.12 + 0.1*random.Float64()), m.clock.guide(m.clock.length - 0.15)} {
		low := 0.0
		from := int((at - start) * instrument.Rate)
		for i := max(from, 0); i < min(from+9600, len(dst)); i++ {
			t := float64(i-from) / instrument.Rate
			low += 0.03 * (2*random.Float64() - 1 - low)
			dst[i] += 0.5 * low * (1 - math.Exp(-t/0.004)) * math.Exp(-t/0.03)
		}
	}
}

// echo adds a handful of early reflections: walls, a table, the ceiling.
func echo(dst, src []float64, wet float64, random *rand.Rand) {
	for k := range 7 {
		delay := int((0.003 + 0.034*math.Pow(random.Float64(), 1.4)) * instrument.Rate)
		gain := wet * 0.5 * math.Pow(0.86, float64(k)) * (2*random.Float64() - 1)
		for i := delay; i < len(dst); i++ {
			dst[i] += gain * src[i-delay]
		}
	}
}

// reverberate adds the tail of a small furnished room: four delay lines that
// feed each other (a feedback delay network with a Hadamard matrix) and lose
// the high tones first. The tail falls by 60 dB in about 0.4 s.
func reverberate(dst, src []float64, wet float64, random *rand.Rand) {
	const fall = 0.4
	var lines [4][]float64
	var at [4]int
	var gain, dull [4]float64
	for k := range lines {
		n := 700 + 260*k + random.IntN(180)
		lines[k] = make([]float64, n)
		gain[k] = math.Pow(10, -3*float64(n)/instrument.Rate/fall)
	}
	for i, x := range src {
		var v [4]float64
		for k := range lines {
			v[k] = lines[k][at[k]]
			dull[k] += 0.45 * (v[k] - dull[k])
			v[k] = dull[k] * gain[k]
		}
		dst[i] += wet * 0.35 * (v[0] - v[1] + v[2] - v[3])
		a, b, c, d := v[0]+v[1], v[0]-v[1], v[2]+v[3], v[2]-v[3]
		mixed := [4]float64{a + c, b + d, a - c, b - d}
		for k := range lines {
			lines[k][at[k]] = 0.5*x + 0.5*mixed[k]
			if at[k]++; at[k] == len(lines[k]) {
				at[k] = 0
			}
		}
	}
}

// highPass applies two one-pole high-passes in a row.
func highPass(x []float64, hz float64) {
	p := math.Exp(-2 * math.Pi * hz / instrument.Rate)
	for range 2 {
		before, y := 0.0, 0.0
		for i, v := range x {
			y = p * (y + v - before)
			before = v
			x[i] = y
		}
	}
}
