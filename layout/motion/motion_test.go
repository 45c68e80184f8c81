package motion

import (
	"math"
	"math/rand/v2"
	"testing"
)

// room draws a still scene with noise and a player who sways at (cx, cy).
func room(r *rand.Rand, w, h int, cx, cy, sway, noise float64, k int, shake bool) []byte {
	pix := make([]byte, w*h)
	dx := sway * math.Sin(float64(k)*1.7)
	jump := 0
	if shake {
		jump = r.IntN(9) - 4
	}
	for y := range h {
		for x := range w {
			v := 80 + 40*math.Sin(float64(x+jump)/5) + 20*math.Cos(float64(y+jump)/3)
			px, py := (float64(x)+.5)/float64(w)-cx-dx, (float64(y)+.5)/float64(h)-cy
			if px*px/(0.1*0.1)+py*py/(0.25*0.25) < 1 {
				v = 200 - 100*math.Mod(float64(x)/7, 1)
			}
			pix[y*w+x] = byte(min(255, max(0, v+noise*r.NormFloat64())))
		}
	}
	return pix
}

func watch(t *testing.T, frames int, draw func(k int) []byte) Subject {
	t.Helper()
	var m Map
	for k := range frames {
		if err := m.Add(160, 90, draw(k)); err != nil {
			t.Fatal(err)
		}
	}
	return m.Subject()
}

func TestThePlayerIsFoundWhereverTheySit(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 9))
	for range 40 {
		cx, cy := 0.15+0.7*r.Float64(), 0.3+0.4*r.Float64()
		noise := 1 + 5*r.Float64()
		s := watch(t, 30, func(k int) []byte { return room(r, 160, 90, cx, cy, 0.02, noise, k, false) })
		x, y := s.Centre()
		if math.Abs(x-cx) > 0.06 || math.Abs(y-cy) > 0.1 || s.Confidence < 0.4 {
			t.Errorf("player at %.2f,%.2f, noise %.1f: found at %.2f,%.2f with confidence %.2f", cx, cy, noise, x, y,
				s.Confidence)
		}
	}
}

func TestNothingAndEverythingMovingAreNoSubject(t *testing.T) {
	r := rand.New(rand.NewPCG(2, 9))
	for name, s := range map[string]Subject{
		"an empty room":        watch(t, 30, func(k int) []byte { return room(r, 160, 90, -1, -1, 0, 3, k, false) }),
		"a camera in the hand": watch(t, 30, func(k int) []byte { return room(r, 160, 90, -1, -1, 0, 3, k, true) }),
		"one picture":          watch(t, 1, func(k int) []byte { return room(r, 160, 90, .5, .5, .05, 3, k, false) }),
	} {
		if s.Confidence > 0.2 {
			t.Errorf("%s: %+v", name, s)
		}
	}
}

func TestAPictureOfAnotherSizeIsRefused(t *testing.T) {
	var m Map
	if m.Add(4, 2, make([]byte, 8)) != nil || m.Add(2, 4, make([]byte, 8)) == nil ||
		m.Add(4, 2, make([]byte, 7)) == nil {
		t.Error("pictures of one size go in, others do not")
	}
	if new(Map).Add(0, 5, nil) == nil {
		t.Error("an empty picture went in")
	}
}

// Movement spread evenly from a to b has its box at 8 and 92 % of the way, and
// reaches from a to b; a player whom the edge cuts reaches to the edge.
func TestMovementReachesItsEnds(t *testing.T) {
	box := Subject{Left: 0.2 + 0.08*0.5, Right: 0.2 + 0.92*0.5, Top: 0.08 * 0.7, Bottom: 0.92 * 0.7}
	left, top, right, bottom := box.Reach()
	for _, c := range []struct{ got, want float64 }{{left, 0.2}, {right, 0.7}, {top, 0}, {bottom, 0.7}} {
		if math.Abs(c.got-c.want) > 1e-9 {
			t.Errorf("reaches %.3f, want %.3f", c.got, c.want)
		}
	}
}

func BenchmarkAdd(b *testing.B) {
	pix := make([]byte, 160*90)
	var m Map
	for b.Loop() {
		if err := m.Add(160, 90, pix); err != nil {
			b.Fatal(err)
		}
	}
}
