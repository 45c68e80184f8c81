package resample

import (
	"math/rand/v2"
	"slices"
	"testing"
)

// The vectors of a processor give the bits of the Go code, at every length and
// every alignment.
func TestVectorsGiveTheSameBits(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 5))
	random := func(n int) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = rng.NormFloat64() * float64(int(1)<<rng.IntN(20))
		}
		return x
	}
	for n := 4; n <= 256; n += 4 {
		for shift := range 4 {
			x, a := random(n + shift)[shift:], random(n + shift)[shift:]
			if got, want := dot(x, a), dotGo(x, a); got != want {
				t.Fatalf("dot of %d: %v, not %v", n, got, want)
			}
		}
	}
	for _, taps := range []int{4, 8, 16, 28, 48, 56} {
		for n := range 23 {
			x, half := random(n+2*taps), random(taps)
			got, want := make([]float64, 2*n), make([]float64, 2*n)
			double(got, x, half)
			doubleGo(want, x, half)
			if !slices.Equal(got, want) {
				t.Fatalf("doubling %d with %d taps: %v, not %v", n, taps, got, want)
			}
			rows, spots := random(9*taps), make([]spot, n)
			for k := range spots {
				spots[k] = spot{rng.IntN(n + taps), taps * rng.IntN(8), rng.Float64()}
			}
			pick(got[:n], x, rows, spots, taps)
			pickGo(want[:n], x, rows, spots, taps)
			if !slices.Equal(got, want) {
				t.Fatalf("reading %d with %d taps: %v, not %v", n, taps, got, want)
			}
		}
	}
}

func BenchmarkDouble(b *testing.B) {
	x, y, h := make([]float64, 2104), make([]float64, 4096), make([]float64, 28)
	for _, c := range []struct {
		name string
		f    func(y, x, h []float64)
	}{{"here", double}, {"go", doubleGo}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				c.f(y, x, h)
			}
		})
	}
}
