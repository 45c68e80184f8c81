// Package fourier is the discrete Fourier transform of real frames of a fixed
// size, for what transforms all day: the noise reduction and recorded rooms.
//
// The transform is a radix-4 one in Stockham's order (Cochran et al. 1967,
// "What is the fast Fourier transform?"), on half as many complex numbers as
// the frame has samples; real and imaginary parts lie apart. It knows nothing
// of sound. Where the processor has AVX2 it runs four numbers at a time and
// gives the bits of the Go code, which nothing may fuse: products that are
// added to are converted to float64, as the language asks for.
//
// Frames are finite numbers; what is not finite makes all lines NaN.
package fourier

import (
	"fmt"
	"math"
)

// Transform is a transform of one size, with the memory it works in. One
// Transform serves one goroutine.
type Transform struct {
	size   int
	before []float64 // the window, halved: the untangling adds instead of averaging
	after  []float64 // the window over the size: forward and back is then exact
	passes []pass
	turn   complexes // e^(−2πik/size), k below size/2

	work  [2]complexes // size/2+1 numbers: the last one repeats the first
	lines complexes    // weighted lines of the inverse
	ones  []float64
}

// complexes are complex numbers, their parts in separate slices.
type complexes struct{ re, im []float64 }

// newComplexes returns n zeros. Both halves have their own capacity, so that appending to
// one never reaches into the other.
func newComplexes(n int) complexes {
	flat := make([]float64, 2*n)
	return complexes{flat[:n:n], flat[n:]}
}

// pass is one of the radix-4 passes.
type pass struct {
	groups, stride int
	// Six numbers a group: w, w² and w³, the real part before the imaginary
	// one. The first pass, whose groups lie side by side, has them in runs of
	// four: four of w's real parts, four of its imaginary parts, and so on.
	twiddles []float64
}

// New prepares transforms of size samples, which must be 2·4^k, 32 or more: 32,
// 128, 512, 2048, 8192 … window weights the frame before [Transform.Forward]
// and after [Transform.AddInverse]; nil weights nothing. New panics on another
// size or a window of another length: both are chosen by a programmer.
func New(size int, window []float64) *Transform {
	half := size / 2
	if size < 32 || size != 2*half || !powerOfFour(half) || window != nil && len(window) != size {
		panic(fmt.Sprintf("fourier: a transform of %d samples with a window of %d", size, len(window)))
	}
	t := &Transform{size: size, before: make([]float64, size), after: make([]float64, size), turn: newComplexes(half),
		lines: newComplexes(half + 1)}
	for i := range t.before {
		w := 1.0
		if window != nil {
			w = window[i]
		}
		t.before[i], t.after[i] = w/2, w/float64(size)
	}
	for i := range t.turn.re {
		t.turn.im[i], t.turn.re[i] = math.Sincos(-2 * math.Pi * float64(i) / float64(size))
	}
	t.work = [2]complexes{newComplexes(half + 1), newComplexes(half + 1)}
	t.ones = make([]float64, half+1)
	for i := range t.ones {
		t.ones[i] = 1
	}
	for n, stride := half, 1; n > 1; n, stride = n/4, stride*4 {
		t.passes = append(t.passes, newPass(n, stride))
	}
	return t
}

// powerOfFour reports whether n is 4 to some power, 1 among them.
func powerOfFour(n int) bool {
	for ; n > 1; n /= 4 {
		if n%4 != 0 {
			return false
		}
	}
	return n == 1
}

// newPass returns the pass that splits transforms of n into four of n/4.
func newPass(n, stride int) pass {
	p := pass{groups: n / 4, stride: stride, twiddles: make([]float64, 6*n/4)}
	for g := range p.groups {
		for k := range 3 {
			sin, cos := math.Sincos(-2 * math.Pi * float64(g*(k+1)) / float64(n))
			at, step := 6*g+2*k, 1
			if stride == 1 {
				at, step = 24*(g/4)+8*k+g%4, 4
			}
			p.twiddles[at], p.twiddles[at+step] = cos, sin
		}
	}
	return p
}

// Lines returns how many lines a frame has: from 0 to half the sample rate.
func (t *Transform) Lines() int { return t.size/2 + 1 }

// Forward writes the lines Σ window·x·e^(−2πikn/size) of x, which has size
// samples, to re and im.
func (t *Transform) Forward(re, im, x []float64) {
	half := t.size / 2
	x, re, im = x[:t.size], re[:half+1], im[:half+1]
	pack(t.work[0].re, t.work[0].im, x, t.before)
	z := t.run(false)
	z.re[half], z.im[half] = z.re[0], z.im[0]
	untangle(re, im, z.re, z.im, t.turn.re, t.turn.im)
	re[half], im[half] = 2*(z.re[0]-z.im[0]), 0
	re[0], im[0] = 2*(z.re[0]+z.im[0]), 0
}

// AddInverse adds the frame of the lines re and im, each times its gain, to y
// under the window. Without a window it is the inverse of [Transform.Forward].
// nil gains are all 1. The imaginary parts of the first and the last line do
// not count.
func (t *Transform) AddInverse(y, re, im, gains []float64) {
	half := t.size / 2
	if gains == nil {
		gains = t.ones
	}
	y, re, im, gains = y[:t.size], re[:half+1], im[:half+1], gains[:half+1]
	l := t.lines
	weight(l.re, re, gains)
	weight(l.im, im, gains)
	l.im[0], l.im[half] = 0, 0
	tangle(t.work[0].re, t.work[0].im, l.re, l.im, t.turn.re, t.turn.im)
	z := t.run(true)
	unpack(y, z.re, z.im, t.after)
}

// run transforms work[0] and says where the result is. The inverse is the
// transform with the parts exchanged.
func (t *Transform) run(inverse bool) complexes {
	from, to := t.work[0], t.work[1]
	if inverse {
		from.re, from.im = from.im, from.re
		to.re, to.im = to.im, to.re
	}
	for i := range t.passes {
		p := &t.passes[i]
		if p.stride == 1 {
			firstPass(to.re, to.im, from.re, from.im, p.twiddles, p.groups)
		} else {
			laterPass(to.re, to.im, from.re, from.im, p.twiddles, p.groups, p.stride)
		}
		from, to = to, from
	}
	if inverse {
		from.re, from.im = from.im, from.re
	}
	return from
}

// AddPower adds the squared magnitudes of the lines re and im to p; all three
// are equally long.
func AddPower(p, re, im []float64) { power(p[:len(re)], re, im[:len(re)]) }
