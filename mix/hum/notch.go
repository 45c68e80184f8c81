package hum

import (
	"math"

	"ripieno/mix/audio"
)

// Width is how wide the notch of a line is between its −3 dB points, hertz. A tone on the
// very line loses 0.4 dB in its first 30 ms.
const Width = 1.0

// notch is a filter of the second order with zeros on the unit circle, in the transposed
// direct form II (R. Bristow-Johnson, "Cookbook formulae for audio equalizer biquad
// filter coefficients", W3C note, 2021).
type notch struct {
	b0, b1, a1, a2 float64
	s1, s2         []float64 // of every channel
}

// newNotch returns the notch of a line at a rate.
func newNotch(hz float64, rate, channels int) *notch {
	w := 2 * math.Pi * hz / float64(rate)
	alpha := math.Tan(math.Pi * Width / float64(rate))
	a0 := 1 + alpha
	return &notch{b0: 1 / a0, b1: -2 * math.Cos(w) / a0, a1: -2 * math.Cos(w) / a0, a2: (1 - alpha) / a0,
		s1: make([]float64, channels), s2: make([]float64, channels)}
}

// run filters x, the next samples of channel c, in place. Products are rounded one by one, so
// that every processor makes the same bits.
func (n *notch) run(c int, x []float64) {
	s1, s2 := n.s1[c], n.s2[c]
	for i, v := range x {
		y := float64(n.b0*v) + s1
		s1 = float64(n.b1*v) + s2 - float64(n.a1*y)
		s2 = float64(n.b0*v) - float64(n.a2*y)
		x[i] = y
	}
	n.s1[c], n.s2[c] = s1, s2
}

// without is a source without its hum.
type without struct {
	src     audio.Source
	notches []*notch
}

// New returns src without the lines, in hertz of src. It is not delayed. Lines at half of its
// rate and beyond are not there; without lines it is src itself. What it gives does not
// depend on the sizes of reads.
func New(src audio.Source, lines []float64) audio.Source {
	w := &without{src: src}
	for _, hz := range lines {
		if hz > 0 && hz+Width < float64(src.Rate())/2 {
			w.notches = append(w.notches, newNotch(hz, src.Rate(), src.Channels()))
		}
	}
	if len(w.notches) == 0 {
		return src
	}
	return w
}

// Channels implements [audio.Source].
func (w *without) Channels() int { return w.src.Channels() }

// Rate implements [audio.Source].
func (w *without) Rate() int { return w.src.Rate() }

// Read implements [audio.Source].
func (w *without) Read(dst audio.Block) (int, error) {
	n, err := w.src.Read(dst)
	for c := range dst {
		for _, f := range w.notches {
			f.run(c, dst[c][:n])
		}
	}
	return n, err
}
