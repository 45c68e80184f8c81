package align

import (
	"math"
	"math/rand/v2"
	"testing"
)

// under returns x with noise as loud as so much of its mean square.
func under(x []float64, noise float64, seed uint64) []float64 {
	var square float64
	for _, v := range x {
		square += v * v / float64(len(x))
	}
	r := rand.New(rand.NewPCG(5, seed))
	out := make([]float64, len(x))
	for i, v := range x {
		out[i] = v + math.Sqrt(square*noise)*r.NormFloat64()
	}
	return out
}

func deviceOf(t *testing.T, x []float64) *device {
	t.Helper()
	d, err := readDevice(memory(x))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// Two recordings of one player, each in noise as loud as the playing, are tied by all
// stretches together, and those of two players by none.
func TestPool(t *testing.T) {
	const start, ratio = 0.7, 1 + 60e-6
	x := music(t, 3, 25)
	a := deviceOf(t, under(x, 1, 1))
	b := deviceOf(t, under(recorded(x, start, ratio, 0.5, 24), 1, 2))
	m := pool(a, b, guess{seconds: start + 0.02})
	off := m.OffsetSeconds + 12*(1+m.DriftPPM*1e-6) - start - 12*ratio
	if !m.Sure() || math.Abs(off) > 2e-4 || m.Agree < 2*poolLeast {
		t.Errorf("%.3f ms off: %+v", 1000*off, m)
	}
	other := deviceOf(t, under(music(t, 4, 25), 1, 3))
	for _, c := range append(coarse(a, other), guess{}) {
		if m := pool(a, other, c); m.Sure() {
			t.Errorf("another player: %+v", m)
		}
	}
	if m := pool(deviceOf(t, tone(4, 440)), a, guess{}); m.Sure() {
		t.Errorf("four seconds of a tone: %+v", m)
	}
}
