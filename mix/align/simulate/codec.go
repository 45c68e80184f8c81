package simulate

import (
	"math"
	"math/rand/v2"
	"slices"

	"gonum.org/v1/gonum/dsp/fourier"
)

// codec is what a lossy coder leaves of a recording: a spectrum by the
// modified discrete cosine transform (J. P. Princen and A. B. Bradley, IEEE
// Trans. ASSP 34, 1986), rounded band by band. Rounding spreads noise over the
// whole of a block, so it is heard before a clap as well as after it, bands
// far below the loudest vanish, and nothing is left above a limit.
type codec struct {
	noise float64 // dB of rounding noise against the sound of a band; 0 leaves the file as it is
	top   float64 // hertz
	sharp bool    // blocks with an attack get finer steps, as good coders give them
}

// newCodec draws what the device did: most phones code well, apps that send
// sound over a network do not.
func newCodec(r *rand.Rand, l Level) codec {
	rate, poor, narrow := r.Float64(), r.Float64(), r.Float64()
	if rate > [...]float64{0.5, 0.7, 0.8}[l] {
		return codec{}
	}
	c := codec{noise: -18 - 8*r.Float64(), top: 12000 + 6000*r.Float64(), sharp: true}
	if poor < [...]float64{0, 0.15, 0.4}[l] {
		c.noise, c.sharp = -7-7*r.Float64(), r.IntN(2) == 0
		if narrow < 0.4 {
			c.top = 3600 + 3400*r.Float64() // speech coding
		}
	}
	return c
}

// codecBlock is the number of lines of a spectrum, that of AAC.
const codecBlock = 1024

// audible is how far below the loudest band of a block another is dropped, dB.
const audible = 60

// apply codes x and decodes it again, in place and without delay.
func (c codec) apply(x []float64, rate int) {
	if c.noise == 0 {
		return
	}
	const n = codecBlock
	d := newDCT4(n)
	window := make([]float64, 2*n)
	for i := range window {
		window[i] = math.Sin(math.Pi * (float64(i) + 0.5) / (2 * n))
	}
	block, spec, tail := make([]float64, 2*n), make([]float64, n), make([]float64, n)
	for begin := -n; begin < len(x); begin += n {
		for i := range block {
			block[i] = 0
			if k := begin + i; k >= 0 && k < len(x) {
				block[i] = x[k] * window[i]
			}
		}
		fold(spec, block)
		d.transform(spec)
		c.round(spec, block, rate)
		d.transform(spec)
		unfold(block, spec)
		// The next block begins where the half that is complete now ends.
		for i := range n {
			if k := begin + i; k >= 0 && k < len(x) {
				x[k] = math.Max(-1, math.Min(1, tail[i]+block[i]*window[i]*2/n))
			}
			tail[i] = block[n+i] * window[n+i] * 2 / n
		}
	}
}

// round quantises the lines of a block, each band by its own loudness.
func (c codec) round(spec, block []float64, rate int) {
	n := len(spec)
	noise := c.noise
	if c.sharp && attack(block) {
		noise -= 15
	}
	top := min(n, int(c.top*2*float64(n)/float64(rate)))
	clear(spec[top:])
	var loudest float64
	for lo := 0; lo < top; lo = next(lo) {
		loudest = math.Max(loudest, power(spec[lo:min(top, next(lo))]))
	}
	for lo := 0; lo < top; lo = next(lo) {
		band := spec[lo:min(top, next(lo))]
		// Rounding to steps of s makes noise of s²/12.
		step := math.Sqrt(12 * math.Max(power(band)*math.Pow(10, noise/10), loudest*math.Pow(10, -audible/10.0)))
		if step == 0 {
			continue
		}
		for i, v := range band {
			band[i] = step * math.Round(v/step)
		}
	}
}

// next returns where the band after the one at lo begins: bands of four lines, then
// of a sixth of the frequency.
func next(lo int) int { return lo + max(4, lo/6) }

// power returns the mean square of at least one value.
func power(v []float64) float64 {
	var s float64
	for _, x := range v {
		s += x * x
	}
	return s / float64(len(v))
}

// attack reports whether a block grows suddenly by 10 dB.
func attack(block []float64) bool {
	const part = 256
	var past float64
	for part := range slices.Chunk(block, part) {
		now := power(part)
		if past > 0 && now > 10*past {
			return true
		}
		past = math.Max(now, 0.7*past)
	}
	return false
}

// fold computes the first half of the transform: 2n samples a, b, c, d become the n
// samples -c reversed - d, a - b reversed.
func fold(dst, src []float64) {
	n := len(dst)
	h := n / 2
	for i := range h {
		dst[i] = -src[3*h-1-i] - src[3*h+i]
		dst[h+i] = src[i] - src[n-1-i]
	}
}

// unfold undoes fold but for the aliases that cancel between blocks.
func unfold(dst, src []float64) {
	n := len(src)
	h := n / 2
	for i := range h {
		dst[i], dst[n-1-i] = src[h+i], -src[h+i]
		dst[3*h-1-i], dst[3*h+i] = -src[i], -src[i]
	}
}

// dct4 is a discrete cosine transform of type IV, by a complex Fourier
// transform of half its length. Twice, it multiplies by half the length.
type dct4 struct {
	fft   *fourier.CmplxFFT
	twist []complex128
	half  []complex128
}

// newDCT4 returns the transform of n values, n even.
func newDCT4(n int) *dct4 {
	d := &dct4{fft: fourier.NewCmplxFFT(n / 2), half: make([]complex128, n/2)}
	for i := range n / 2 {
		sin, cos := math.Sincos(-math.Pi * float64(8*i+1) / float64(8*n))
		d.twist = append(d.twist, complex(cos, sin))
	}
	return d
}

// transform replaces x by its transform. The two turns by twist move the samples to where
// a Fourier transform of half the length has the cosines of the whole one.
func (d *dct4) transform(x []float64) {
	n := len(x)
	for i, w := range d.twist {
		d.half[i] = complex(x[2*i], x[n-1-2*i]) * w
	}
	d.fft.Coefficients(d.half, d.half)
	for i, w := range d.twist {
		y := d.half[i] * w
		x[2*i], x[n-1-2*i] = real(y), -imag(y)
	}
}
