package align

import (
	"math"
	"slices"

	"ripieno/mix/fourier"
	"ripieno/mix/robust"
)

const (
	chromaSize = 2048 // samples at 7 to 10 kHz, some 0.25 s
	chromaLow  = 120  // hertz
	chromaHigh = 1600
)

// chromaFilter sums the spectrum into pitch classes.
type chromaFilter struct {
	rate   float64
	dec    *decimator
	spec   *fourier.Transform
	re, im []float64
	class  []int // of each line; -1: out of range
	buf    []float64
	at     int
	frame  int
	lines  [][]float32 // per frame, magnitudes of the lines in range
	first  int         // the first line in range
}

// newChromaFilter returns a filter for a signal at work hertz. It halves the
// rate of most recordings, so that a line of the spectrum is 3.5 to 5 Hz wide: at 120 Hz a
// semitone is 7 Hz.
func newChromaFilter(work float64) *chromaFilter {
	c := &chromaFilter{
		dec: decimateBy(max(1, int(work/7000))), spec: fourier.New(chromaSize, hann(chromaSize)),
		re: make([]float64, chromaSize/2+1), im: make([]float64, chromaSize/2+1),
		buf: make([]float64, chromaSize/2), at: -chromaSize / 2,
	}
	c.rate = work / float64(c.dec.factor)
	for k := range chromaSize / 2 {
		f := float64(k) * c.rate / chromaSize
		switch {
		case f <= chromaLow:
			c.first = k + 1
		case f < math.Min(chromaHigh, 0.45*c.rate):
			midi := int(math.Round(69 + 12*math.Log2(f/440)))
			c.class = append(c.class, midi%12)
		}
	}
	return c
}

// write adds samples at the work rate.
func (c *chromaFilter) write(x []float64) {
	c.buf = c.dec.write(c.buf, x)
	c.analyse()
}

// analyse takes every frame that is complete. Frames are counted from the beginning and
// their places rounded one by one, so that no error of ChromaHop adds up in a long file.
func (c *chromaFilter) analyse() {
	for {
		begin := int(math.Round(float64(c.frame)*ChromaHop*c.rate)) - chromaSize/2 - c.at
		if begin+chromaSize > len(c.buf) {
			break
		}
		c.spec.Forward(c.re, c.im, c.buf[begin:begin+chromaSize])
		line := make([]float32, len(c.class))
		for i := range line {
			k := c.first + i
			line[i] = float32(math.Sqrt(c.re[k]*c.re[k] + c.im[k]*c.im[k]))
		}
		c.lines = append(c.lines, line)
		c.frame++
		if begin > 1<<13 {
			c.buf = c.buf[:copy(c.buf, c.buf[begin:])]
			c.at += begin
		}
	}
}

// finish returns a vector of pitch classes for each frame, without what all
// frames have in common and without what all classes have.
func (c *chromaFilter) finish() [][12]int8 {
	c.buf = append(c.dec.flush(c.buf), make([]float64, chromaSize/2)...)
	c.analyse()
	n := len(c.lines)
	if n < 20 {
		return nil
	}
	vectors := make([][12]float64, n)
	column, some := make([]float32, n), make([]float32, n)
	for i, class := range c.class {
		for k := range c.lines {
			column[k] = c.lines[k][i]
		}
		copy(some, column)
		floor := 4 * (float64(robust.QuantileOf(some, 0.2)) + 1e-7)
		for k, v := range column {
			vectors[k][class] += math.Log1p(float64(v) / floor)
		}
	}
	c.lines = nil
	return units(vectors)
}

// units takes the means out of vectors and brings them near length 100; those
// much shorter than usual, of noise and pauses, stay short.
func units(v [][12]float64) [][12]int8 {
	var mean [12]float64
	for k := range v {
		var m float64
		for _, x := range v[k] {
			m += x / 12
		}
		for p := range v[k] {
			v[k][p] -= m
			mean[p] += v[k][p] / float64(len(v))
		}
	}
	length := make([]float64, len(v))
	for k := range v {
		var sum float64
		for p := range v[k] {
			v[k][p] -= mean[p]
			sum += v[k][p] * v[k][p]
		}
		length[k] = math.Sqrt(sum)
	}
	usual := robust.Median(slices.Clone(length))
	out := make([][12]int8, len(v))
	for k := range v {
		for p, x := range v[k] {
			out[k][p] = int8(math.Round(100 * x / (length[k] + 0.3*usual + 1e-9)))
		}
	}
	return out
}
