package mix

import (
	"fmt"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
)

// hushed makes the noise of a source softer.
type hushed struct {
	floor float64 // least gain
	spec  []*denoise.Spectrum
	gains []float64
	power []float64 // of the frame's lines, with silence below the first and above the last
	bars  []float64 // what every line has to rise above, three lines together
}

// foreign is a source whose noise was learned at another rate, where its lines stand for other
// frequencies: it fails at once.
type foreign struct {
	audio.Source
	learned int // hertz
}

// Read implements [audio.Source].
func (f foreign) Read(audio.Block) (int, error) {
	return 0, fmt.Errorf("denoise: noise learned at %d Hz, recording at %d Hz", f.learned, f.Rate())
}

// newHushed returns src softened by d, not delayed; a depth of 0 stands for 8 dB.
func newHushed(src audio.Source, d *Denoise) audio.Source {
	if d.Noise.rate != src.Rate() {
		return foreign{src, d.Noise.rate}
	}
	depth := d.Depth
	if depth == 0 {
		depth = 8
	}
	h := &hushed{floor: (-depth).Gain()}
	h.gains, h.power, h.bars = make([]float64, denoise.Lines), make([]float64, denoise.Lines+2),
		make([]float64, denoise.Lines)
	for k := range h.bars {
		for j := max(k-1, 0); j < min(k+2, denoise.Lines); j++ {
			h.bars[k] += overSubtract * float64(src.Channels()) * d.Noise.power[j]
		}
	}
	for range src.Channels() {
		h.spec = append(h.spec, denoise.NewSpectrum())
	}
	return audio.NewOverlap(src, denoise.Size, denoise.Hop, 0, h.frame)
}

// frame takes a frame of input and adds what is left of it.
func (h *hushed) frame(sum, frame audio.Block) {
	clear(h.power)
	for c, x := range frame {
		h.spec[c].AddPower(h.power[1:denoise.Lines+1], x)
	}
	// One gain for both channels, so that the image does not move.
	weigh(h.gains, h.power, h.bars, h.floor, gainFall)
	for c, s := range h.spec {
		s.AddInverse(sum[c], s.Re, s.Im, h.gains)
	}
}

// Spectral subtraction with a floor (Boll 1979; the floor and the factor of
// over-subtraction after Berouti, Schwartz and Makhoul 1979). The factor
// covers most of the spread of a noise's power from frame to frame.
const (
	overSubtract = 3.0
	gainFall     = 0.36 // share of a line's gain kept per frame while it falls
)

// weighGo finds the gain of every line for a frame from the power of three
// lines together, since a window spreads a tone over as many. power has a line
// more at both ends. Gains rise at once, so that attacks stay, and fall slowly.
// No product is fused into a sum.
func weighGo(gains, power, bars []float64, floor, fall float64) {
	for k, bar := range bars {
		p := max(power[k]+power[k+1]+power[k+2], 1e-300)
		g := max(math.Sqrt(max(1-bar/p, 0)), floor)
		gains[k] = max(g, gains[k]*fall)
	}
}
