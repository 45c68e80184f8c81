package resample

import (
	"math/rand/v2"
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
			x, a, b := random(n + shift)[shift:], random(n + shift)[shift:], random(n)
			if got, want := dot(x, a), dotGo(x, a); got != want {
				t.Fatalf("dot of %d: %v, not %v", n, got, want)
			}
			s, u := dot2(x, a, b)
			if v, w := dot2Go(x, a, b); s != v || u != w {
				t.Fatalf("dot2 of %d: %v %v, not %v %v", n, s, u, v, w)
			}
			if got, want := between(x, a, b), betweenGo(x, a, b); got != want {
				t.Fatalf("between of %d: %v, not %v", n, got, want)
			}
		}
	}
}

func BenchmarkBetween(b *testing.B) {
	x, y, h := make([]float64, 28), make([]float64, 28), make([]float64, 28)
	for _, c := range []struct {
		name string
		f    func(x, y, h []float64) float64
	}{{"here", between}, {"go", betweenGo}} {
		b.Run(c.name, func(b *testing.B) {
			for b.Loop() {
				c.f(x, y, h)
			}
		})
	}
}
