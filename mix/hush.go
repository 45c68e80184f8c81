package mix

import (
	"fmt"
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
)

// hushed is a source whose noise is made softer. It is not delayed.
type hushed struct {
	src   audio.Source
	noise *Noise
	floor float64 // least gain
	spec  []*denoise.Spectrum
	gains []float64
	power []float64   // of the frame's lines, with silence below the first and above the last
	bars  []float64   // what every line has to rise above, three lines together
	past  audio.Block // the frame's input
	sum   audio.Block // overlapping output
	ready audio.Block // frames of sum that are finished, up to one hop
	rest  audio.Rest
	skip  int   // output frames before the programme
	left  int64 // output frames still due once the source has ended
	ended bool
	end   error
}

// newHushed returns src softened by d; a depth of 0 stands for 8 dB.
func newHushed(src audio.Source, d *Denoise) *hushed {
	depth := d.Depth
	if depth == 0 {
		depth = 8
	}
	h := &hushed{src: src, noise: d.Noise, floor: (-depth).Gain(), skip: denoise.Size - denoise.Hop}
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
	h.past = audio.NewBlock(src.Channels(), denoise.Size)
	h.sum = audio.NewBlock(src.Channels(), denoise.Size)
	h.ready = audio.NewBlock(src.Channels(), denoise.Hop)
	if d.Noise.rate != src.Rate() {
		h.ended, h.end = true, fmt.Errorf("denoise: noise learned at %d Hz, recording at %d Hz", d.Noise.rate,
			src.Rate())
	}
	return h
}

// Channels implements [audio.Source].
func (h *hushed) Channels() int { return h.src.Channels() }

// Rate implements [audio.Source].
func (h *hushed) Rate() int { return h.src.Rate() }

// Read implements [audio.Source]. It fails at once where the noise was learned at another
// rate: its lines would stand for other frequencies.
func (h *hushed) Read(dst audio.Block) (int, error) {
	return h.rest.ReadUntil(dst, h.next, &h.end)
}

// next returns one hop of output, less at the end, nil after it.
func (h *hushed) next() audio.Block {
	for ; h.skip > 0; h.skip -= denoise.Hop {
		h.hop()
	}
	if h.ended && h.left <= 0 {
		return nil
	}
	h.hop()
	n := denoise.Hop
	if h.ended {
		n = int(max(0, min(int64(n), h.left)))
	}
	h.left -= int64(n)
	return h.ready.Slice(0, n)
}

// hop takes one hop of input and finishes one hop of output.
func (h *hushed) hop() {
	for c := range h.past {
		copy(h.past[c], h.past[c][denoise.Hop:])
		clear(h.past[c][denoise.Size-denoise.Hop:])
	}
	if !h.ended {
		n, err := audio.ReadFull(h.src, h.past.Slice(denoise.Size-denoise.Hop, denoise.Size))
		h.left += int64(n)
		if err != nil {
			h.ended, h.end = true, err
		}
	}
	clear(h.power)
	for c, x := range h.past {
		h.spec[c].AddPower(h.power[1:denoise.Lines+1], x)
	}
	// One gain for both channels, so that the image does not move.
	weigh(h.gains, h.power, h.bars, h.floor, gainFall)
	for c, s := range h.spec {
		s.AddInverse(h.sum[c], s.Re, s.Im, h.gains)
		copy(h.ready[c], h.sum[c][:denoise.Hop])
		copy(h.sum[c], h.sum[c][denoise.Hop:])
		clear(h.sum[c][denoise.Size-denoise.Hop:])
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
