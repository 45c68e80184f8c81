// Package decay measures the room in which a recording was made by the clap in it: a clap
// is nearly an impulse, in that very room and with that very microphone.
//
// [Measure] finds the clap where it is expected and returns the early decay time and the
// reverberation time (ISO 3382-1, by Schroeder's backward integration of 1965, less the
// power of the noise), and the ratio of the direct sound to the reverberation. A clap lasts
// some 20 ms itself, so the reverberation is followed from 40 ms on and continued back to
// the clap in a straight line of decibels.
//
// It measures the way from the hands to the microphone, which is shorter or longer than
// that of an instrument by as much as a hand's breadth to an arm's length.
package decay

import (
	"errors"
	"io"
	"math"

	"ripieno/mix/audio"
)

// Version is the version of what [Measure] measures. Raise it when a figure changes.
const Version = 1

// Room is what a clap says of the room round it. The zero value says that no clap was
// heard.
type Room struct {
	Clap   bool    // one was heard that stands alone
	Early  float64 // early decay time, seconds; NaN: not to be told
	Decay  float64 // reverberation time, seconds to −60 dB; NaN: noise hides it
	Direct float64 // the direct sound over the reverberation, dB; NaN: noise hides it
}

// What a clap is and how its decay is followed. Chosen on simulated claps in rooms of 0.2
// to 0.8 s; they have no source.
const (
	step      = 0.001 // seconds of a value of the energy
	lead      = 0.35  // seconds before the place that are looked at
	follow    = 1.5   // seconds behind it
	stands    = 25.0  // dB by which a clap stands over what is before it
	rise      = 0.010 // seconds from a clap's beginning to its loudest moment, at most
	own       = 0.040 // seconds that the clap sounds itself
	smooth    = 0.010 // seconds over which the decay is averaged
	overNoise = 6.0   // dB over the noise down to which it is followed
	again     = 6.0   // dB of rise that is another sound
	leastFall = 8.0   // dB of decay that say how fast it is
	leastTime = 0.05  // seconds of it
	lowCut    = 300.0 // hertz: below are steps, hum and wind
	driest    = 30.0  // dB: more cannot be told from no room
)

// Measure reads src as far as it must and returns what a clap says that begins between two
// times of it, in seconds. It fails with src.
func Measure(src audio.Source, from, to float64) (Room, error) {
	x, at, err := excerpt(src, from-lead, to+follow)
	if err != nil {
		return Room{}, err
	}
	e := energies(x, src.Rate())
	clap := loudest(e, steps(from-at), steps(to-at))
	if clap < 0 {
		return Room{}, nil
	}
	return measure(e, clap), nil
}

// steps returns how many values a time is.
func steps(seconds float64) int { return int(math.Round(seconds / step)) }

// excerpt returns src from one time to another, its channels one after another in each
// block, and where it begins.
func excerpt(src audio.Source, from, to float64) (x audio.Block, at float64, err error) {
	rate := float64(src.Rate())
	first, last := int(max(from, 0)*rate), int(to*rate)
	x = make(audio.Block, src.Channels())
	in := audio.NewBlock(src.Channels(), 4096)
	for n := 0; n < last; {
		got, err := src.Read(in)
		if a, b := max(first-n, 0), min(got, last-n); a < b {
			for c := range x {
				x[c] = append(x[c], in[c][a:b]...)
			}
		}
		n += got
		if errors.Is(err, io.EOF) || err == nil && got == 0 {
			break
		}
		if err != nil {
			return nil, 0, err
		}
	}
	return x, float64(first) / rate, nil
}

// energies returns the energy of every step of x, above lowCut.
func energies(x audio.Block, rate int) []float64 {
	n := int(float64(x.Frames()) / float64(rate) / step)
	e := make([]float64, n)
	keep := math.Exp(-2 * math.Pi * lowCut / float64(rate))
	for _, ch := range x {
		var last, once, twice float64 // two high-passes of the first order
		for i, v := range ch {
			high := keep * (once + v - last)
			twice = keep * (twice + high - once)
			last, once = v, high
			if k := int(float64(i) / float64(rate) / step); k < n {
				e[k] += twice * twice
			}
		}
	}
	return e
}

// loudest returns where the clap begins that is loudest between two steps, -1 when nothing
// there stands over what is before it.
func loudest(e []float64, from, to int) int {
	at := -1
	for i := max(from, 0); i < min(to, len(e)); i++ {
		if at < 0 || e[i] > e[at] {
			at = i
		}
	}
	if at < 0 {
		return -1
	}
	begin := at
	for i := max(at-steps(rise), 0); i < at; i++ {
		if e[i] >= e[at]/10 {
			begin = i
			break
		}
	}
	quiet, ok := before(e, begin)
	if !ok || !(e[at] > quiet*math.Pow(10, stands/10)) {
		return -1
	}
	return begin
}

// before returns the mean energy of the steps before a clap, and whether there are enough.
func before(e []float64, clap int) (mean float64, ok bool) {
	from, to := max(clap-steps(lead), 0), clap-steps(0.03)
	if to-from < steps(0.1) {
		return 0, false
	}
	for _, v := range e[from:to] {
		mean += v
	}
	return mean / float64(to-from), true
}

// measure follows the decay behind a clap that begins at a step.
func measure(e []float64, clap int) Room {
	r := Room{Clap: true, Early: math.NaN(), Decay: math.NaN(), Direct: math.NaN()}
	noise, _ := before(e, clap)
	end := knee(e, clap, noise)
	clean := make([]float64, end-clap)
	total := 0.0
	for i := range clean {
		clean[i] = e[clap+i] - noise
		total += clean[i]
	}
	slope, height, ok := line(clean)
	if !ok {
		return r
	}
	r.Decay = 60 / slope
	// The line's power at the clap, integrated to the end of time, is the reverberation.
	perStep := slope * step * math.Ln10 / 10
	late := math.Pow(10, height/10) / perStep / spread(clean, perStep)
	rest := math.Pow(10, (height-slope*step*float64(len(clean)))/10) / perStep
	if direct := total + rest - late; direct > 0 {
		r.Direct = min(10*math.Log10(direct/late), driest)
	} else {
		r.Direct = -driest
	}
	r.Early = early(clean, rest)
	return r
}

// spread returns by how much later energy than that of the first step makes the line
// higher: the clap is over after some milliseconds, in which the room begins to answer.
func spread(clean []float64, perStep float64) float64 {
	sum, weighted := 0.0, 0.0
	for i, v := range clean[:min(len(clean), steps(own/2))] {
		sum += v
		weighted += v * math.Exp(perStep*float64(i))
	}
	return weighted / sum
}

// knee returns the step at which the decay behind a clap reaches the noise, or another
// sound begins.
func knee(e []float64, clap int, noise float64) int {
	wide := steps(smooth)
	bar, least := noise*math.Pow(10, overNoise/10), math.Inf(1)
	for i := clap + steps(own); i+wide <= len(e); i++ {
		mean := 0.0
		for _, v := range e[i : i+wide] {
			mean += v / float64(wide)
		}
		if mean < bar || mean > least*math.Pow(10, again/10) {
			return i
		}
		least = min(least, mean)
	}
	return max(len(e)-wide, clap)
}

// line returns the straight line of decibels that the energies follow once the clap is
// over: by how much they fall a second, and their height at its beginning.
func line(clean []float64) (slope, height float64, ok bool) {
	wide := steps(smooth)
	var n, sx, sy, sxx, sxy float64
	for i := steps(own); i+wide <= len(clean); i += wide {
		mean := 0.0
		for _, v := range clean[i : i+wide] {
			mean += v / float64(wide)
		}
		if !(mean > 0) {
			break
		}
		x, y := (float64(i)+float64(wide)/2)*step, 10*math.Log10(mean)
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	if n*float64(wide)*step < leastTime {
		return 0, 0, false
	}
	slope = -(n*sxy - sx*sy) / (n*sxx - sx*sx)
	height = (sy + slope*sx) / n
	return slope, height, slope*n*float64(wide)*step >= leastFall
}

// early returns the early decay time: six times as long as the backward integral takes
// from 0 to −10 dB, by the line through it. rest is what is left behind the last energy.
func early(clean []float64, rest float64) float64 {
	left := make([]float64, len(clean))
	sum := rest
	for i := len(clean) - 1; i >= 0; i-- {
		sum += clean[i]
		left[i] = sum
	}
	var n, sx, sy, sxx, sxy float64
	for i, v := range left {
		y := 10 * math.Log10(v/left[0])
		if !(y >= -10) && n > 1 {
			break
		}
		x := float64(i) * step
		n, sx, sy, sxx, sxy = n+1, sx+x, sy+y, sxx+x*x, sxy+x*y
	}
	slope := -(n*sxy - sx*sy) / (n*sxx - sx*sx)
	if !(slope > 0) {
		return math.NaN()
	}
	return 60 / slope
}
