package align

import (
	"math"

	"gonum.org/v1/gonum/dsp/fourier"
)

// phat finds by how much one stretch of sound lags another by the generalised
// cross-correlation with phase transform (C. H. Knapp and G. C. Carter, "The
// generalized correlation method for estimation of time delay", IEEE Trans.
// ASSP 24, 1976): every frequency counts the same, so different microphones
// and rooms do not blur the peak.
type phat struct {
	n          int // samples in a window
	fft        *fourier.FFT
	hann, a, b []float64
	fa, fb     []complex128
	lo, hi     int // spectrum bins used
	cor        []float64
}

// newPHAT works on windows of n samples at rate hertz. The correlation is
// circular: lags must stay short against the window.
func newPHAT(n int, rate float64) *phat {
	bin := rate / float64(n)
	// A note cut by the window's edge would correlate with the edge of the
	// other window, at no lag: fade both.
	hann := make([]float64, n)
	for i := range hann {
		hann[i] = 0.5 - 0.5*math.Cos(2*math.Pi*(float64(i)+0.5)/float64(n))
	}
	return &phat{
		hann: hann,
		n:    n,
		fft:  fourier.NewFFT(n),
		a:    make([]float64, n), b: make([]float64, n),
		fa: make([]complex128, n/2+1), fb: make([]complex128, n/2+1),
		// Below 120 Hz is hum and rumble; near the Nyquist frequency the
		// decimator has taken the sound away.
		lo: int(120 / bin), hi: int(math.Min(6500, 0.42*rate) / bin),
		cor: make([]float64, n),
	}
}

// delay returns by how many samples b lags a, sought between -reach and reach, and
// how far the peak stands above the scatter of the correlation (about 4 by
// chance alone). Both windows have n samples. floorA and floorB are the
// energies of a spectrum bin that hold only noise. Silence gives a peak of 0.
func (p *phat) delay(a, b []float32, floorA, floorB func(hertz float64) float64, rate float64, reach int) (samples,
	peak float64) {
	p.load(p.a, a)
	p.load(p.b, b)
	p.fft.Coefficients(p.fa, p.a)
	p.fft.Coefficients(p.fb, p.b)
	bin := rate / float64(p.n)
	used := 0
	for i := range p.fa {
		fa, fb := p.fa[i], p.fb[i]
		ea, eb := real(fa)*real(fa)+imag(fa)*imag(fa), real(fb)*real(fb)+imag(fb)*imag(fb)
		hertz := float64(i) * bin
		// Bins that hold only noise would count as much as the music and
		// drown it: leave them out.
		if i < p.lo || i >= p.hi || ea*eb == 0 || ea < 4*floorA(hertz) || eb < 4*floorB(hertz) {
			p.fa[i] = 0
			continue
		}
		x := fb * complex(real(fa), -imag(fa))
		p.fa[i] = x / complex(cabs(x), 0)
		used++
	}
	if used < 8 {
		return 0, 0
	}
	p.fft.Sequence(p.cor, p.fa)
	return p.top(reach)
}

// load takes a window of a recording, its ends faded by the Hann window: a hard edge would
// have a place of its own in every spectrum.
func (p *phat) load(dst []float64, src []float32) {
	for i, v := range src {
		dst[i] = float64(v) * p.hann[i]
	}
}

// top returns the highest place of the correlation within reach samples of no lag, to a
// fraction of a sample, and how many standard deviations of the rest it stands above them.
// Its sign does not count: a microphone may be wired the other way round.
func (p *phat) top(reach int) (samples, peak float64) {
	size := len(p.cor)
	reach = min(reach, p.n/2-2)
	at := func(k int) float64 { return math.Abs(p.cor[(k+size)%size]) }
	best, sum := 0, 0.0
	for k := -reach; k <= reach; k++ {
		v := at(k)
		sum += v * v
		if v > at(best) {
			best = k
		}
	}
	sigma := math.Sqrt(sum / float64(2*reach+1))
	if sigma == 0 {
		return 0, 0
	}
	return p.between(best), at(best) / sigma
}

// between finds the peak near sample k to a fraction of a sample: the
// correlation has no content near the Nyquist frequency, so that a windowed
// sinc gives its values between the samples.
func (p *phat) between(k int) float64 {
	const parts = 16
	size := len(p.cor)
	value := func(i int) float64 { // at k + i/parts
		whole := k + int(math.Floor(float64(i)/parts))
		w := &sincTable[((i%parts+parts)%parts)*sincPhases/parts]
		var s float64
		for j, c := range w {
			s += c * p.cor[((whole-7+j)%size+size)%size]
		}
		return math.Abs(s)
	}
	best := 0
	for i := -parts; i <= parts; i++ {
		if value(i) > value(best) {
			best = i
		}
	}
	// A table entry stands for the middle of its phase.
	return float64(k) + (float64(best)+parabola(value(best-1), value(best), value(best+1)))/parts + 0.5/sincPhases
}

func cabs(c complex128) float64 { return math.Sqrt(real(c)*real(c) + imag(c)*imag(c)) }

// warp reads src at times at+i·ratio (in samples, not whole) into dst with a
// windowed sinc of 16 points; silence lies beyond its ends.
func warp(dst, src []float32, at, ratio float64) {
	for i := range dst {
		x := at + float64(i)*ratio
		k := int(math.Floor(x))
		if k < -8 || k > len(src)+8 {
			dst[i] = 0
			continue
		}
		w := &sincTable[int((x-float64(k))*sincPhases)]
		var s float64
		if k >= 7 && k+9 <= len(src) {
			for j, v := range src[k-7 : k+9] {
				s += w[j] * float64(v)
			}
		} else {
			for j := range w {
				if q := k - 7 + j; q >= 0 && q < len(src) {
					s += w[j] * float64(src[q])
				}
			}
		}
		dst[i] = float32(s)
	}
}

// sincPhases is how finely a sample is divided: the error is at most 1/512 of
// one, 0.1 microseconds.
const sincPhases = 512

var sincTable = func() (t [sincPhases][16]float64) {
	for p := range t {
		frac := (float64(p) + 0.5) / sincPhases
		for j := range t[p] {
			x := float64(j-7) - frac
			s := 1.0
			if math.Abs(x) > 1e-9 {
				s = math.Sin(math.Pi*x) / (math.Pi * x)
			}
			t[p][j] = s * (0.5 + 0.5*math.Cos(math.Pi*x/8.5))
		}
	}
	return t
}()
