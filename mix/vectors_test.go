package mix

import (
	"math/rand/v2"
	"slices"
	"testing"

	"ripieno/mix/audio"
	"ripieno/mix/denoise"
)

// The vectors of a processor give the bits of the Go code: the gains of the
// noise reduction, and four sections in a line.
func TestVectorsGiveTheSameBits(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	random := func(n int) []float64 {
		x := make([]float64, n)
		for i := range x {
			x[i] = rng.NormFloat64()
		}
		return x
	}
	for _, n := range []int{4, 5, 7, 8, 129, denoise.Lines} {
		power, bars, a := random(n+2), random(n), random(n)
		for i := range power {
			power[i] *= power[i] * float64(i%3)
		}
		for i := range bars {
			bars[i] *= bars[i] * float64(i%4)
			a[i] *= a[i]
		}
		b := slices.Clone(a)
		weigh(a, power, bars, 0.2, gainFall)
		weighGo(b, power, bars, 0.2, gainFall)
		if !slices.Equal(a, b) {
			t.Fatalf("%d gains: %v, not %v", n, a, b)
		}
	}
	bands := []Band{{LowCut, 80, 0, 0}, {LowShelf, 200, -2, 0}, {Bell, 900, 2, 1}, {HighShelf, 7000, 1, 0},
		{Bell, 3000, -4, 2}}
	for n := 1; n < 40; n++ {
		var together, alone []*section
		for _, b := range bands {
			together, alone = append(together, newSection(b)), append(alone, newSection(b))
		}
		for range 3 { // memories go from block to block
			x := audio.Block{random(n), random(n)}
			y := audio.Block{slices.Clone(x[0]), slices.Clone(x[1])}
			cascade(together, x)
			for _, s := range alone {
				cascade([]*section{s}, y)
			}
			if !slices.Equal(x[0], y[0]) || !slices.Equal(x[1], y[1]) {
				t.Fatalf("%d samples through five sections: %v, one by one %v", n, x, y)
			}
		}
	}
}
