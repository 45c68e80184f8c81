package motion

import (
	"math"
	"math/rand/v2"
	"testing"
)

// heatOf watches a player whose body sways a little and whose hand, low and to the left,
// moves a lot.
func heatOf(t *testing.T, noise float64) Heat {
	t.Helper()
	r := rand.New(rand.NewPCG(3, 9))
	var m Map
	for k := range 24 {
		pix := room(r, 160, 90, 0.6, 0.5, 0.01, noise, k, false)
		y0, x0 := 70+int(5*math.Sin(float64(k)*2.1)), 30+int(6*math.Sin(float64(k)*1.3))
		for y := y0; y < y0+8; y++ {
			for x := x0; x < x0+10; x++ {
				pix[y*160+x] = 250
			}
		}
		if err := m.Add(160, 90, pix); err != nil {
			t.Fatal(err)
		}
	}
	return m.Heat()
}

// Heat is where something moves, whatever the noise of the camera: at the hand and along
// the body's sides, and nowhere else.
func TestHeatIsWhereItMoves(t *testing.T) {
	for _, noise := range []float64{0, 2, 5} {
		h := heatOf(t, noise)
		all := h.Sum(0, 0, 1, 1)
		hand, body := h.Sum(0.1, 0.65, 0.35, 1)/all, h.Sum(0.45, 0.2, 0.75, 0.8)/all
		if hand < 0.2 || body < 0.2 || hand+body < 0.97 {
			t.Errorf("noise %.0f: %.2f of the heat is at the hand, %.2f at the body", noise, hand, body)
		}
	}
}

// A sum over parts is the sum of the whole, wherever they are cut, and nothing lies
// outside of the picture.
func TestHeatAddsUp(t *testing.T) {
	h := heatOf(t, 1)
	all := h.Sum(0, 0, 1, 1)
	for _, at := range []float64{0, 0.1, 0.333, 0.5, 0.91, 1} {
		if got := h.Sum(0, 0, at, 1) + h.Sum(at, 0, 1, 1); math.Abs(got-all) > 1e-6*all {
			t.Errorf("cut at %.3f from left to right: %.3f of %.3f", at, got, all)
		}
		if got := h.Sum(0, 0, 1, at) + h.Sum(0, at, 1, 1); math.Abs(got-all) > 1e-6*all {
			t.Errorf("cut at %.3f from top to bottom: %.3f of %.3f", at, got, all)
		}
	}
	for name, got := range map[string]float64{
		"beyond the picture": h.Sum(1, 0, 2, 1), "an empty box": h.Sum(0.5, 0.5, 0.5, 0.6),
		"a box the wrong way round": h.Sum(0.6, 0, 0.5, 1), "no heat": Heat(nil).Sum(0, 0, 1, 1),
		"heat of another size": Heat{1, 2, 3}.Sum(0, 0, 1, 1),
	} {
		if got != 0 {
			t.Errorf("%s: %.3f", name, got)
		}
	}
	if got := h.Sum(-1, -1, 2, 2); math.Abs(got-all) > 1e-6*all {
		t.Errorf("a box larger than the picture: %.3f of %.3f", got, all)
	}
}

// Where nothing moves, or nothing can be compared, there is no heat.
func TestNoHeatWithoutMovement(t *testing.T) {
	var m Map
	pix := make([]byte, 160*90)
	if m.Heat() != nil {
		t.Error("without a picture")
	}
	for range 3 {
		if err := m.Add(160, 90, pix); err != nil {
			t.Fatal(err)
		}
		if m.Heat() != nil {
			t.Error("of a still picture")
		}
	}
}
