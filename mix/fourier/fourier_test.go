package fourier

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/dsp/fourier"
)

var sizes = []int{32, 128, 512, 2048, 8192}

func random(seed uint64, n int) []float64 {
	rng := rand.New(rand.NewPCG(seed, 7))
	x := make([]float64, n)
	for i := range x {
		x[i] = rng.NormFloat64()
	}
	return x
}

// The lines of a random frame are those of the definition, summed one by one,
// and of gonum's transform, which is another implementation.
func TestForwardIsTheTransform(t *testing.T) {
	for _, n := range sizes {
		f, x, window := (*Transform)(nil), random(1, n), random(2, n)
		f = New(n, window)
		re, im := make([]float64, f.Lines()), make([]float64, f.Lines())
		f.Forward(re, im, x)
		weighted := make([]float64, n)
		for i := range x {
			weighted[i] = x[i] * window[i]
		}
		want := fourier.NewFFT(n).Coefficients(nil, weighted)
		tolerance := 1e-14 * float64(n)
		for k, c := range want {
			if math.Abs(re[k]-real(c)) > tolerance || math.Abs(im[k]-imag(c)) > tolerance {
				t.Fatalf("size %d line %d: %v %v, gonum %v", n, k, re[k], im[k], c)
			}
		}
		for _, k := range []int{0, 1, n / 8, n/4 - 1, n / 2} {
			var a, b float64
			for i, v := range weighted {
				sin, cos := math.Sincos(-2 * math.Pi * float64(i*k%n) / float64(n))
				a, b = a+v*cos, b+v*sin
			}
			if math.Abs(re[k]-a) > tolerance || math.Abs(im[k]-b) > tolerance {
				t.Fatalf("size %d line %d: %v %v, by the definition %v %v", n, k, re[k], im[k], a, b)
			}
		}
	}
}

// There and back gives the frame under the window squared, and gains work on
// their lines.
func TestInverse(t *testing.T) {
	for _, n := range sizes {
		f := New(n, nil)
		x, y := random(3, n), random(4, n)
		before := append([]float64(nil), y...)
		re, im := make([]float64, f.Lines()), make([]float64, f.Lines())
		f.Forward(re, im, x)
		f.AddInverse(y, re, im, nil)
		for i := range x {
			if math.Abs(y[i]-before[i]-x[i]) > 1e-14*float64(n) {
				t.Fatalf("size %d sample %d: %v became %v", n, i, x[i], y[i]-before[i])
			}
		}
		gains := make([]float64, f.Lines())
		gains[3] = 2
		clear(y)
		f.AddInverse(y, re, im, gains)
		for i := range y {
			sin, cos := math.Sincos(2 * math.Pi * 3 * float64(i) / float64(n))
			if want := 4 / float64(n) * (re[3]*cos - im[3]*sin); math.Abs(y[i]-want) > 1e-13 {
				t.Fatalf("size %d: line 3 alone is %v at %d, want %v", n, y[i], i, want)
			}
		}
	}
	window := random(5, 512)
	f, x, y := New(512, window), random(6, 512), make([]float64, 512)
	re, im := make([]float64, f.Lines()), make([]float64, f.Lines())
	f.Forward(re, im, x)
	f.AddInverse(y, re, im, nil)
	for i := range x {
		if math.Abs(y[i]-window[i]*window[i]*x[i]) > 1e-12 {
			t.Fatalf("sample %d under the window: %v", i, y[i])
		}
	}
}

// The vectors of a processor give the bits of the Go code.
func TestVectorsGiveTheSameBits(t *testing.T) {
	for _, n := range sizes {
		f := New(n, random(8, n))
		half := n / 2
		x, g := random(9, n), random(10, half+1)
		got, want := newComplexes(half+1), newComplexes(half+1)
		from := complexes{random(11, half+1), random(12, half+1)}
		same := func(what string) {
			t.Helper()
			for i := range half {
				if got.re[i] != want.re[i] || got.im[i] != want.im[i] {
					t.Fatalf("size %d: %s gives other bits at %d: %v %v, not %v %v", n, what, i, got.re[i], got.im[i],
						want.re[i], want.im[i])
				}
			}
		}
		pack(got.re, got.im, x, f.before)
		packGo(want.re, want.im, x, f.before)
		same("pack")
		for _, p := range f.passes {
			if p.stride == 1 {
				firstPass(got.re, got.im, from.re, from.im, p.twiddles, p.groups)
				firstPassGo(want.re, want.im, from.re, from.im, p.twiddles, p.groups)
			} else {
				laterPass(got.re, got.im, from.re, from.im, p.twiddles, p.groups, p.stride)
				laterPassGo(want.re, want.im, from.re, from.im, p.twiddles, p.groups, p.stride)
			}
			same("a pass")
		}
		untangle(got.re, got.im, from.re, from.im, f.turn.re, f.turn.im)
		untangleGo(want.re, want.im, from.re, from.im, f.turn.re, f.turn.im)
		same("untangle")
		tangle(got.re, got.im, from.re, from.im, f.turn.re, f.turn.im)
		tangleGo(want.re, want.im, from.re, from.im, f.turn.re, f.turn.im)
		same("tangle")
		weight(got.re, from.re, g)
		weightGo(want.re, from.re, g)
		same("weight")
		copy(want.im, got.im)
		power(got.im, from.re, from.im)
		powerGo(want.im, from.re, from.im)
		same("power")
		a, b := random(13, n), random(13, n)
		unpack(a, from.re, from.im, f.after)
		unpackGo(b, from.re, from.im, f.after)
		for i := range a {
			if a[i] != b[i] {
				t.Fatalf("size %d: unpack gives other bits at %d", n, i)
			}
		}
	}
}

// A programmer's mistakes are told at once.
func TestSizes(t *testing.T) {
	for _, c := range []struct {
		size   int
		window []float64
	}{{0, nil}, {8, nil}, {31, nil}, {64, nil}, {1024, nil}, {2048, make([]float64, 2047)}} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("size %d with a window of %d was accepted", c.size, len(c.window))
				}
			}()
			New(c.size, c.window)
		}()
	}
}

func BenchmarkThereAndBack(b *testing.B) {
	x, y := random(1, 2048), make([]float64, 2048)
	b.Run("ours", func(b *testing.B) {
		f := New(2048, nil)
		re, im := make([]float64, f.Lines()), make([]float64, f.Lines())
		for b.Loop() {
			f.Forward(re, im, x)
			f.AddInverse(y, re, im, nil)
		}
	})
	b.Run("gonum", func(b *testing.B) {
		f, c := fourier.NewFFT(2048), make([]complex128, 1025)
		for b.Loop() {
			f.Coefficients(c, x)
			f.Sequence(y, c)
		}
	})
}
