package loudness

import "math"

// Biquad is a second-order section with a0 normalised to 1:
// y = b0·x + b1·x[-1] + b2·x[-2] − a1·y[-1] − a2·y[-2].
type Biquad struct{ B0, B1, B2, A1, A2 float64 }

// The analogue prototypes of the two K-weighting stages. BS.1770-4 gives
// coefficients for 48 kHz only; these values, published with libebur128 and
// reproduced by solving its tables 1 and 2 for f0, G and Q, give the same
// response at any rate and the tables themselves at 48 kHz.
const (
	shelfHz   = 1681.974450955533
	shelfGain = 3.999843853973347 // dB
	shelfQ    = 0.7071752369554196
	shelfBand = 0.4996667741545416 // exponent that makes Vb from Vh
	rlbHz     = 38.13547087602444
	rlbQ      = 0.5003270373238773
)

// Shelf returns the first stage of the K weighting at rate hertz: the acoustic
// effect of a head, +4 dB above about 2 kHz (BS.1770-4 table 1).
func Shelf(rate int) Biquad {
	k := math.Tan(math.Pi * shelfHz / float64(rate))
	vh := math.Pow(10, shelfGain/20)
	vb := math.Pow(vh, shelfBand)
	a0 := 1 + k/shelfQ + k*k
	return Biquad{
		B0: (vh + vb*k/shelfQ + k*k) / a0,
		B1: 2 * (k*k - vh) / a0,
		B2: (vh - vb*k/shelfQ + k*k) / a0,
		A1: 2 * (k*k - 1) / a0,
		A2: (1 - k/shelfQ + k*k) / a0,
	}
}

// RLB returns the second stage at rate hertz: the revised low-frequency B curve, a
// high-pass (BS.1770-4 table 2). Its numerator is 1, −2, 1 at every rate.
func RLB(rate int) Biquad {
	k := math.Tan(math.Pi * rlbHz / float64(rate))
	a0 := 1 + k/rlbQ + k*k
	return Biquad{B0: 1, B1: -2, B2: 1, A1: 2 * (k*k - 1) / a0, A2: (1 - k/rlbQ + k*k) / a0}
}

// Response returns the gain of the section at hz for the given sample rate, as a
// linear factor.
func (q Biquad) Response(hz float64, rate int) float64 {
	sin1, cos1 := math.Sincos(2 * math.Pi * hz / float64(rate))
	sin2, cos2 := math.Sincos(4 * math.Pi * hz / float64(rate))
	num := math.Hypot(q.B0+q.B1*cos1+q.B2*cos2, q.B1*sin1+q.B2*sin2)
	den := math.Hypot(1+q.A1*cos1+q.A2*cos2, q.A1*sin1+q.A2*sin2)
	return num / den
}

// Weighting is the K filter of one channel. The zero value is not usable; make
// it with [NewWeighting].
type Weighting struct {
	shelf, rlb     Biquad
	s1, s2, r1, r2 float64
}

// NewWeighting returns a K filter at rest for rate hertz.
func NewWeighting(rate int) Weighting { return Weighting{shelf: Shelf(rate), rlb: RLB(rate)} }

// tiny is where a filter's memory is set to zero: −600 dB, far below any
// measurement, far above the denormal numbers that make processors crawl.
const tiny = 1e-30

// Apply writes the K-weighted x to y, which has at least the length of x and
// may be x itself. Broken samples count as zero. The result does not depend on
// how a programme is cut into calls.
func (w *Weighting) Apply(y, x []float64) {
	y = y[:len(x)]
	p, q := w.shelf, w.rlb
	s1, s2, r1, r2 := w.s1, w.s2, w.r1, w.r2
	for i, v := range x {
		v = sound(v)
		u := p.B0*v + s1
		s1 = p.B1*v + s2 - p.A1*u // what takes longest comes last
		s2 = p.B2*v - p.A2*u
		o := u + r1
		r1 = r2 - 2*u - q.A1*o
		r2 = u - q.A2*o
		y[i] = o
	}
	w.s1, w.s2, w.r1, w.r2 = s1, s2, r1, r2
}

// Settle zeroes what has died away in the filter's memory. Call it now and
// then, at places of the programme that do not depend on block sizes.
func (w *Weighting) Settle() {
	w.s1, w.s2, w.r1, w.r2 = settle(w.s1), settle(w.s2), settle(w.r1), settle(w.r2)
}

// applyPair does what Apply does for two channels at once: the two recursions do not
// depend on each other, so a processor runs them side by side in little more
// than the time of one.
func applyPair(wa, wb *Weighting, ya, yb, xa, xb []float64) {
	n := len(xa)
	xb, ya, yb = xb[:n], ya[:n], yb[:n]
	p, q := wa.shelf, wa.rlb
	as1, as2, ar1, ar2 := wa.s1, wa.s2, wa.r1, wa.r2
	bs1, bs2, br1, br2 := wb.s1, wb.s2, wb.r1, wb.r2
	for i, a := range xa {
		a, b := sound(a), sound(xb[i])
		ua, ub := p.B0*a+as1, p.B0*b+bs1
		as1, bs1 = p.B1*a+as2-p.A1*ua, p.B1*b+bs2-p.A1*ub
		as2, bs2 = p.B2*a-p.A2*ua, p.B2*b-p.A2*ub
		oa, ob := ua+ar1, ub+br1
		ar1, br1 = ar2-2*ua-q.A1*oa, br2-2*ub-q.A1*ob
		ar2, br2 = ua-q.A2*oa, ub-q.A2*ob
		ya[i], yb[i] = oa, ob
	}
	wa.s1, wa.s2, wa.r1, wa.r2 = as1, as2, ar1, ar2
	wb.s1, wb.s2, wb.r1, wb.r2 = bs1, bs2, br1, br2
}

// sound returns v, or zero where v is NaN, infinite or beyond any sane sample.
func sound(v float64) float64 {
	if v > -1e6 && v < 1e6 {
		return v
	}
	return 0
}

// settle flushes a filter memory that has died away.
func settle(v float64) float64 {
	if v > -tiny && v < tiny {
		return 0
	}
	return v
}
