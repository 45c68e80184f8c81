package mix

import (
	"fmt"
	"math"
	"math/rand/v2"

	"ripieno/mix/audio"
)

// dithered is a source rounded to whole steps.
type dithered struct {
	src   audio.Source
	steps float64 // per full scale
	rngs  []*rand.PCG
	err   error
}

// Dither rounds src to integers of bits bits (8 to 32), with noise of
// triangular distribution, two steps peak to peak, added before: the error
// becomes a steady hiss that does not depend on the music (Lipshitz,
// Wannamaker and Vanderkooy 1992, "Quantization and dither: a theoretical
// survey"). The values stay floating point, n/2^(bits−1) with whole n from
// −2^(bits−1) to 2^(bits−1)−1: a writer multiplies and must not round or dither
// again. What is beyond full scale is clipped; NaN becomes silence.
//
// The same seed gives the same noise; each channel has its own.
func Dither(src audio.Source, bits int, seed uint64) audio.Source {
	d := &dithered{src: src, steps: math.Ldexp(1, bits-1)}
	if bits < 8 || bits > 32 {
		d.err = fmt.Errorf("mix: cannot dither to %d bits: 8 to 32", bits)
	}
	for c := range src.Channels() {
		d.rngs = append(d.rngs, rand.NewPCG(seed, uint64(c)))
	}
	return d
}

// Channels implements [audio.Source].
func (d *dithered) Channels() int { return d.src.Channels() }

// Rate implements [audio.Source].
func (d *dithered) Rate() int { return d.src.Rate() }

// Close closes what is dithered, if it can be closed.
func (d *dithered) Close() error { return audio.Close(d.src) }

// Read implements [audio.Source].
func (d *dithered) Read(dst audio.Block) (int, error) {
	if d.err != nil {
		return 0, d.err
	}
	n, err := d.src.Read(dst)
	for c := range dst {
		rng := d.rngs[c]
		for i, v := range dst[c][:n] {
			// One draw gives both halves of the triangle: two even
			// distributions of 32 bits, each half a step to either side.
			u := rng.Uint64()
			noise := (float64(u>>32)+float64(u&0xffffffff))/(1<<32) - 1
			q := math.Floor(v*d.steps + noise + 0.5)
			if !(q >= -d.steps) {
				q = -d.steps
				if v != v {
					q = 0
				}
			}
			dst[c][i] = math.Min(q, d.steps-1) / d.steps
		}
	}
	return n, err
}
