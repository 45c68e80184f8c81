package follow

import (
	"math"
	"math/rand/v2"

	"ripieno/mix/audio"
)

// recording is an invented recording and the truth about it.
type recording struct {
	kind    string
	meter   int // beats in a measure
	thirds  bool
	beats   []float64 // of the piece, and its end
	first   float64   // of the first beat, as somebody has heard it
	samples []float64
}

// inventRate is the sample rate of invented recordings.
const inventRate = 16000

// invent makes a recording of 40 to 56 beats: of somebody who taps, or of an ensemble of
// plucked, struck, blown and bowed strings, its tempo up to 25 % above and below its
// usual one.
func invent(seed uint64) recording {
	r := rand.New(rand.NewPCG(seed, 2207))
	rec := recording{kind: "ensemble", meter: []int{4, 3, 4, 2}[r.IntN(4)]}
	if r.IntN(4) == 0 {
		rec.kind = "taps"
	}
	rec.thirds = rec.kind == "ensemble" && rec.meter == 2
	measures := (40 + r.IntN(17)) / rec.meter
	rec.beats = rubato(r, measures*rec.meter)
	rec.first = rec.beats[0] + 0.02*r.NormFloat64()
	end := rec.beats[len(rec.beats)-1]
	rec.samples = make([]float64, int((end+2)*inventRate))
	if rec.kind == "taps" {
		rec.tap(r)
	} else {
		rec.play(r, measures)
	}
	rec.room(r)
	return rec
}

// rubato returns the times of beats: a tempo between 58 and 126, in waves of a few
// measures that reach 25 % above and below it, slower at the end.
func rubato(r *rand.Rand, beats int) []float64 {
	period := 60 / (58 + 68*r.Float64())
	var waves [3][3]float64
	for i := range waves {
		waves[i] = [3]float64{r.Float64(), 2 * math.Pi / (10 + 22*r.Float64()), 2 * math.Pi * r.Float64()}
	}
	curve := make([]float64, beats)
	most := 0.0
	for i := range curve {
		for _, w := range waves {
			curve[i] += w[0] * math.Sin(w[1]*float64(i)+w[2])
		}
		most = max(most, math.Abs(curve[i]))
	}
	at := 1 + 2*r.Float64()
	list := []float64{at}
	for i := range curve {
		bend := 0.25 * curve[i] / most
		if left := float64(beats - i); left <= 4 {
			bend += (0.25 - bend) * (5 - left) / 4
		}
		at += period * (1 + bend)
		list = append(list, at)
	}
	return list
}

// time returns the time of a place in beats.
func (rec *recording) time(beat float64) float64 {
	i := min(int(beat), len(rec.beats)-2)
	return rec.beats[i] + (beat-float64(i))*(rec.beats[i+1]-rec.beats[i])
}

// tap taps every beat: that is the truth, however uneven.
func (rec *recording) tap(r *rand.Rand) {
	for i := range rec.beats[:len(rec.beats)-1] {
		rec.beats[i] += 0.01 * r.NormFloat64()
		at := int(rec.beats[i] * inventRate)
		loud := 0.15 + 0.5*r.Float64()
		for k := range inventRate / 10 {
			v := loud * math.Exp(-float64(k)/inventRate/0.012) * (2*r.Float64() - 1)
			rec.samples[at+k] += v
		}
	}
}

// player is how somebody's notes sound.
type player struct {
	attack, decay float64 // seconds
	partials      []float64
	late, uneven  float64 // seconds, and the deviation of a note
	loud          float64
}

// play lets five players play chords, a bass and a melody.
func (rec *recording) play(r *rand.Rand, measures int) {
	kinds := []player{
		{0.002, 0.35, []float64{1, 0.6, 0.4, 0.3, 0.2}, 0, 0, 0.2},
		{0.001, 0.2, []float64{1, 0, 0.5, 0, 0.3}, 0, 0, 0.2},
		{0.03, 3, []float64{1, 0.3, 0.6, 0.2, 0.3}, 0, 0, 0.12},
		{0.06, 3, []float64{1, 0.6, 0.5, 0.4, 0.3, 0.2}, 0, 0, 0.12},
		{0.05, 3, []float64{1, 0.4, 0.15}, 0, 0, 0.12},
	}
	band := make([]player, 5)
	for i := range band {
		band[i] = kinds[r.IntN(len(kinds))]
		band[i].late, band[i].uneven = 0.008*r.NormFloat64(), 0.006+0.012*r.Float64()
	}
	roots := []int{0, 5, 7, 9, 2}
	figures := [][]float64{{0}, {0, 0.5}, {0, 0.5, 0.75}, {0.5}, {0, 0.75}, {0}, {0, 0.25, 0.5, 0.75}}
	if rec.thirds {
		figures = [][]float64{{0}, {0, 1. / 3, 2. / 3}, {0, 2. / 3}, {1. / 3, 2. / 3}, {0}}
	}
	style := r.IntN(3) // of the chords: on beats, off beats, broken
	melody := 72
	for m := range measures {
		root := 36 + roots[r.IntN(len(roots))]
		start := float64(m * rec.meter)
		if style == 1 { // off the beat there are only chords over a bass that has it
			for b := range rec.meter {
				rec.note(r, band[0], start+float64(b), 0.5, root+7*(b%2))
			}
		} else {
			rec.note(r, band[0], start, float64(rec.meter)*0.9, root)
			if rec.meter == 4 && r.IntN(2) == 0 {
				rec.note(r, band[0], start+2, 1.8, root+7)
			}
		}
		for b := range rec.meter {
			at := start + float64(b)
			if style == 1 {
				at += 0.5
			}
			if style != 1 || b < rec.meter-1 || r.IntN(2) == 0 {
				for _, third := range []int{12, 16, 19} {
					rec.note(r, band[1], at, 0.6, root+third)
				}
			}
			if style == 2 {
				rec.note(r, band[2], at, 0.45, root+12)
				rec.note(r, band[2], at+0.5, 0.45, root+19)
			}
			figure := figures[r.IntN(len(figures))]
			if r.IntN(5) == 0 {
				continue // a long note or a rest
			}
			for _, f := range figure {
				melody = max(64, min(84, melody+r.IntN(7)-3))
				rec.note(r, band[3+b%2], start+float64(b)+f, 0.4, melody)
			}
		}
	}
}

// note adds a note that is heard 10 dB below its peak when its player means it.
func (rec *recording) note(r *rand.Rand, p player, beat, length float64, pitch int) {
	at := rec.time(beat) + p.late + p.uneven*r.NormFloat64() - 0.32*p.attack
	until := rec.time(beat+length) - at
	hz := 440 * math.Exp2(float64(pitch-69)/12)
	loud := p.loud * (0.5 + 0.5*r.Float64())
	from := int(at * inventRate)
	sin1, cos1 := math.Sincos(2 * math.Pi * hz / inventRate)
	sinK, cosK := 0.0, 1.0
	for k := range int((until + 0.1) * inventRate) {
		if from+k < 0 || from+k >= len(rec.samples) {
			continue
		}
		age := float64(k) / inventRate
		a := loud * min(1, age/p.attack) * math.Exp(-age/p.decay)
		if age > until {
			a *= 1 - (age-until)/0.1
		}
		v := 0.0
		sin, cos := sin1*cosK+cos1*sinK, cos1*cosK-sin1*sinK // of the next sample
		u0, u1 := 0.0, sinK                                  // sines of multiples, by Chebyshev's recurrence
		for i, x := range p.partials {
			if float64(i+1)*hz < 7000 {
				v += x * u1
			}
			u0, u1 = u1, 2*cosK*u1-u0
		}
		sinK, cosK = sin, cos
		rec.samples[from+k] += a * v
	}
}

// room adds reflections and noise.
func (rec *recording) room(r *rand.Rand) {
	for range 6 {
		delay, gain := int((0.008+0.06*r.Float64())*inventRate), 0.1+0.25*r.Float64()
		for i := len(rec.samples) - 1; i >= delay; i-- {
			rec.samples[i] += gain * rec.samples[i-delay]
		}
	}
	noise := math.Pow(10, -(40+25*r.Float64())/20)
	for i := range rec.samples {
		rec.samples[i] += noise * 0.3 * r.NormFloat64()
	}
}

// source returns the recording as sound.
func (rec *recording) source() audio.Source {
	return audio.NewMemory(audio.Block{rec.samples}, inventRate)
}
