package intake

import (
	"cmp"
	"math"
	"ripieno/mix/robust"
	"slices"
)

// humEar measures tones of the mains, second by second, so that afterwards the
// quietest seconds can be looked at: in the others somebody plays.
//
// Hum is 50 or 60 Hz and its multiples. Each second is reduced to humRate,
// windowed (Hann) and measured at the first four multiples and beside them;
// with one second the resolution is 1 Hz and the window's main lobe ±2 Hz,
// which the mains' own wandering of ±0.2 Hz does not leave.
type humEar struct {
	factor int // samples of the source to one of humRate
	sum    float64
	held   int
	buf    []float64
	level  float64 // sum of window levels, as energies, of this second
	count  int
	window []float64
	tones  []humTone
	found  []humSecond
}

// humTone is one frequency to measure.
type humTone struct {
	base   int // 50 or 60
	beside bool
	coeff  float64 // 2·cos(2πf/rate), Goertzel's recurrence
}

// humSecond is what one second showed.
type humSecond struct {
	level float64    // energy of the whole second
	tone  [2]float64 // energy of the tones of 50 and 60 Hz
	near  [2]float64 // and of the neighbourhood, scaled to the same number of measurements
}

// humRate is high enough for 4 × 60 Hz with neighbours; averaging over a
// sample's length takes less than 1 dB from them.
const humRate = 1500

var humBases = [2]int{50, 60}

// newHumEar returns an ear for sound of rate samples a second, which it thins out to about
// humRate before it looks for hum.
func newHumEar(rate int) *humEar {
	h := &humEar{factor: max(1, rate/humRate)}
	actual := float64(rate) / float64(h.factor)
	n := int(actual)
	h.buf = make([]float64, 0, n)
	h.window = make([]float64, n)
	for i := range h.window {
		h.window[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
	}
	for _, base := range humBases {
		for k := 1; k <= 4; k++ {
			// 4 Hz away the window has no lobe left, and at ±4 and ±6 no
			// multiple of the other base is met.
			for _, away := range []float64{0, -6, -4, 4, 6} {
				f := float64(k*base) + away
				h.tones = append(h.tones, humTone{base, away != 0, 2 * math.Cos(2*math.Pi*f/actual)})
			}
		}
	}
	return h
}

// hear takes samples summed over channels, the factor that makes them a mean,
// and their level.
func (h *humEar) hear(x []float64, scale, level float64) {
	h.level += math.Pow(10, level/10)
	h.count++
	for _, v := range x {
		h.sum += v
		if h.held++; h.held == h.factor {
			h.buf = append(h.buf, h.sum*scale/float64(h.factor))
			h.sum, h.held = 0, 0
			if len(h.buf) == cap(h.buf) {
				h.second()
			}
		}
	}
}

// second measures a full second and begins the next.
func (h *humEar) second() {
	s := humSecond{level: h.level / float64(max(1, h.count))}
	for i := range h.buf {
		h.buf[i] *= h.window[i]
	}
	// A sine of amplitude a has |X|² = (a·n/4)² under this window, and the
	// energy a²/2.
	n := float64(len(h.buf))
	norm := 8 / (n * n)
	for _, t := range h.tones {
		e := goertzel(h.buf, t.coeff) * norm
		b := 0
		if t.base == humBases[1] {
			b = 1
		}
		if t.beside {
			s.near[b] += e / 4 // four neighbours to each tone
		} else {
			s.tone[b] += e
		}
	}
	h.found = append(h.found, s)
	h.buf, h.level, h.count = h.buf[:0], 0, 0
}

// goertzel returns |X|² of x at the frequency of coeff (G. Goertzel, American
// Mathematical Monthly 65, 1958).
func goertzel(x []float64, coeff float64) float64 {
	a, b := 0.0, 0.0
	for _, v := range x {
		a, b = v+coeff*a-b, a
	}
	return max(0, a*a+b*b-coeff*a*b)
}

// result returns the hum of the quieter kind of seconds: the lowest fifth of those
// with any sound, at least three. Medians keep one odd second from deciding.
func (h *humEar) result() (hz int, levelDB, prominenceDB float64) {
	const silence = 1e-10 // -100 dBFS
	heard := slices.DeleteFunc(slices.Clone(h.found), func(s humSecond) bool { return s.level < silence })
	if len(heard) < 3 {
		return 0, Floor, 0
	}
	slices.SortFunc(heard, func(a, b humSecond) int { return cmp.Compare(a.level, b.level) })
	quiet := heard[:max(3, len(heard)/5)]
	levelDB = Floor
	prominenceDB = math.Inf(-1)
	for b, base := range humBases {
		level := overSeconds(quiet, func(s humSecond) float64 { return decibels(s.tone[b], 10) })
		stands := overSeconds(quiet, func(s humSecond) float64 {
			return decibels(s.tone[b], 10) - decibels(s.near[b],
				10)
		})
		if stands > prominenceDB {
			hz, levelDB, prominenceDB = base, level, stands
		}
	}
	return hz, levelDB, prominenceDB
}

// overSeconds returns the median of a value over seconds, the upper one of two.
func overSeconds(of []humSecond, value func(humSecond) float64) float64 {
	v := make([]float64, len(of))
	for i := range of {
		v[i] = value(of[i])
	}
	return robust.Quantile(v, 0.5)
}
