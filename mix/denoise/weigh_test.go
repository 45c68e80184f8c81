package denoise

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// The vectors of a processor give the bits of the Go code, wherever its bars and the ends of
// its table lie.
func TestVectorsGiveTheSameBits(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 3))
	random := func(n int) []float64 {
		x := make([]float64, n)
		for i := range x {
			// From far under the noise to far over it; silence; exact bars.
			switch x[i] = math.Pow(10, 14*rng.Float64()-9); rng.IntN(12) {
			case 0:
				x[i] = 0
			case 1:
				x[i] = []float64{sound, sure, soundAttack, sureAttack, fullRatio, mostRatio, 1, 32}[rng.IntN(8)]
			}
		}
		return x
	}
	same := func(what string, got, want []float64) {
		t.Helper()
		for k, v := range want {
			if math.Float64bits(v) != math.Float64bits(got[k]) {
				t.Fatalf("%s, value %d of %d: %v, not %v", what, k, len(want), got[k], v)
			}
		}
	}
	for _, n := range []int{1, 3, 4, 5, 7, 8, 130, Lines, 4 * Lines} {
		w := newWeighing()
		w.sound, w.sure = times4(sound), times4(sure)
		if n%2 == 0 {
			w.sound, w.sure = times4(soundAttack), times4(sureAttack)
		}
		ratios, coming, later, a, floors := random(n), random(n), random(n), random(n), make([]float64, n)
		for k := range floors {
			floors[k] = 0.3 * rng.Float64()
		}
		b, got, want := slices.Clone(a), make([]float64, n), make([]float64, n)
		weigh(got, a, ratios, coming, later, floors, w)
		weighGo(want, b, ratios, coming, later, floors, w)
		same("gains", got, want)
		same("estimates", a, b)

		smooth, least, power := random(n), random(n), random(n)
		s, l := slices.Clone(smooth), slices.Clone(least)
		still(smooth, least, power)
		stillGo(s, l, power)
		same("smoothed", smooth, s)
		same("least", least, l)

		over(got, power, coming)
		overGo(want, power, coming)
		same("over the noise", got, want)

		low(smooth, later)
		lowGo(s, later)
		same("lowered", smooth, s)
	}
}
