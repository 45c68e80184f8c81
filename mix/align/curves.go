package align

import (
	"math"

	"ripieno/mix/fourier"
	"ripieno/mix/robust"
)

// Curves are what a file sounds like all along, in steps of [CurveHop]: the
// events say where sounds begin, the curves also say where there are none.
type Curves struct {
	Onset  []uint8    // how much sets in; 170 is what one frame in fifty exceeds
	Burst  []uint8    // the same above 1.1 kHz; 100 is what three frames in a thousand exceed
	Sound  []uint8    // how far the sound stands over the file's quiet, 0 quiet to 255 playing
	Chroma [][12]int8 // every [ChromaHop], the pitch classes from C on against their mean; a unit vector is 100
}

// CurveHop and ChromaHop are the steps of [Curves], in seconds.
const (
	CurveHop  = 0.005
	ChromaHop = 0.05
)

const (
	curveSize  = 512 // samples of a spectrum at the work rate, 32 to 35 ms
	curveBands = 24  // from 110 to 7600 Hz
	burstBand  = 13  // the first band above 1.1 kHz
)

// curveFilter listens to the work signal for [Curves].
type curveFilter struct {
	rate   float64
	spec   *fourier.Transform
	re, im []float64
	edges  [curveBands][2]int // lines of the spectrum
	buf    []float64
	at     int // index of buf[0] in the file
	frame  int
	bands  [curveBands][]float32 // mean magnitudes
	tonal  *chromaFilter
}

// hann returns a Hann window of n samples.
func hann(n int) []float64 {
	w := make([]float64, n)
	for i := range w {
		w[i] = 0.5 - 0.5*math.Cos(2*math.Pi*float64(i)/float64(n))
	}
	return w
}

// newCurveFilter returns a filter for a signal at work hertz. Bands are equally wide in
// pitch, but at least 32 Hz, a little more than one line of the spectrum.
func newCurveFilter(work float64) *curveFilter {
	c := &curveFilter{
		rate: work, spec: fourier.New(curveSize, hann(curveSize)), tonal: newChromaFilter(work),
		re: make([]float64, curveSize/2+1), im: make([]float64, curveSize/2+1),
		buf: make([]float64, curveSize/2), at: -curveSize / 2,
	}
	line := work / curveSize
	for b := range c.edges {
		lo := 110 * math.Pow(7600.0/110, float64(b)/curveBands)
		hi := max(110*math.Pow(7600.0/110, float64(b+1)/curveBands), lo+32)
		c.edges[b] = [2]int{int(math.Ceil(lo / line)), min(int(math.Ceil(hi/line)), curveSize/2)}
	}
	return c
}

// write adds samples at the work rate.
func (c *curveFilter) write(x []float64) {
	c.tonal.write(x)
	c.buf = append(c.buf, x...)
	for {
		begin := int(math.Round(float64(c.frame)*CurveHop*c.rate)) - curveSize/2 - c.at
		if begin+curveSize > len(c.buf) {
			break
		}
		c.spec.Forward(c.re, c.im, c.buf[begin:begin+curveSize])
		for b, e := range c.edges {
			var sum float64
			for k := e[0]; k < e[1]; k++ {
				sum += math.Sqrt(c.re[k]*c.re[k] + c.im[k]*c.im[k])
			}
			c.bands[b] = append(room(c.bands[b], 1), float32(sum/float64(max(1, e[1]-e[0]))))
		}
		c.frame++
		if begin > 1<<13 {
			c.buf = c.buf[:copy(c.buf, c.buf[begin:])]
			c.at += begin
		}
	}
}

// finish returns the curves of all that was written.
func (c *curveFilter) finish() Curves {
	c.write(make([]float64, curveSize/2))
	n := len(c.bands[0])
	if n < 100 {
		return Curves{}
	}
	onset, burst, level := make([]float64, n), make([]float64, n), make([]float64, n)
	logs := make([]float64, n)
	some := make([]float32, 0, n)
	for b, band := range c.bands {
		if c.edges[b][1] <= c.edges[b][0] {
			continue // above what the file can hold
		}
		some = append(some[:0], band[40:n-40]...)
		floor := 2.5 * (float64(robust.QuantileOf(some, 0.12)) + 1e-7)
		for k, v := range band {
			logs[k] = math.Log1p(float64(v) / floor)
		}
		for k := range logs {
			if b >= 2 && b < 18 {
				level[k] += logs[k] / 16
			}
			if k < 2 {
				continue
			}
			if rise := logs[k] - logs[k-2]; rise > 0 {
				onset[k] += rise
				if b >= burstBand {
					burst[k] += rise
				}
			}
		}
	}
	return Curves{
		Onset: scale(onset, 0.98, 170), Burst: scale(burst, 0.997, 100), Sound: presence(level),
		Chroma: c.tonal.finish(),
	}
}

// scale returns v with its quantile q at unit, in whole numbers up to 255.
func scale(v []float64, q, unit float64) []uint8 {
	top := robust.Quantile(v, q) + 1e-9
	out := make([]uint8, len(v))
	for i, x := range v {
		out[i] = uint8(math.Min(255, math.Round(unit*x/top)))
	}
	return out
}

// presence returns where there is sound: the mean level of 0.2 s between what
// the file has in its quiet and its louder moments, bent so that loud playing
// counts no more than soft playing.
func presence(level []float64) []uint8 {
	const half = 20 // frames
	smooth, sum := make([]float64, len(level)), 0.0
	at := func(i int) float64 { return level[max(0, min(len(level)-1, i))] }
	for i := -half; i < half; i++ {
		sum += at(i)
	}
	for i := range smooth {
		smooth[i] = sum / (2 * half)
		sum += at(i+half) - at(i-half)
	}
	quiet, loud := robust.Quantile(smooth, 0.08), robust.Quantile(smooth, 0.75)
	out := make([]uint8, len(level))
	for i, v := range smooth {
		x := math.Tanh(3 * (v - quiet - 0.4*(loud-quiet)) / (loud - quiet + 1e-9))
		out[i] = uint8(math.Round(127.5 * (1 + x)))
	}
	return out
}
