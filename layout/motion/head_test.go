package motion

import (
	"math"
	"math/rand/v2"
	"testing"
)

// figure draws a player before a still room: a head on a body, with an arm raised
// beside it and a lamp that is switched.
func figure(r *rand.Rand, w, h int, cx, top, high float64, k int) []byte {
	pix := make([]byte, w*h)
	cx += 0.012 * math.Sin(1.7*float64(k))
	top += 0.008 * math.Sin(2.3*float64(k)) // breathing and nodding
	for i := range pix {
		x, y := (float64(i%w)+0.5)/float64(w), (float64(i/w)+0.5)/float64(h)
		v := 90 + 30*math.Sin(20*x)
		ratio := float64(w) / float64(h)
		dx, dy := (x-cx)*ratio, y-top-high/2
		switch {
		case dx*dx/(0.4*high*0.4*high)+dy*dy/(0.25*high*high) < 1: // the head
			v = 170
		case y > top+1.15*high && math.Abs(dx) < 1.1*high, y > top+high && math.Abs(dx) < 0.25*high: // shoulders, neck
			v = 25 // darker than the wall: an outline with gaps is not found
		case y > top-0.3*high && y < top+1.3*high && math.Abs(dx-0.9*high) < 0.05*high: // a bow
			v = 200
		case math.Hypot((x-0.93)*ratio, y-0.12) < 0.05 && k > 4: // a lamp
			v = 250
		}
		pix[i] = byte(min(255, max(0, v+r.NormFloat64())))
	}
	return pix
}

func TestTheHeadIsFoundByItsShape(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 9))
	for _, size := range [][2]int{{160, 90}, {160, 284}} {
		for range 15 {
			cx, top, high := 0.3+0.35*r.Float64(), 0.1+0.2*r.Float64(), 0.15+0.1*r.Float64()
			if size[1] > size[0] {
				high /= 2
			}
			var m Map
			for k := range 16 {
				if err := m.Add(size[0], size[1], figure(r, size[0], size[1], cx, top, high, k)); err != nil {
					t.Fatal(err)
				}
			}
			head := m.Head()
			x := (head.Left + head.Right) / 2
			if !head.Found() || math.Abs(x-cx) > 0.05 || math.Abs(head.Top-top) > 0.035 ||
				head.Bottom < top+0.35*high || head.Bottom > top+2.5*high { // a bow beside it makes it larger
				t.Errorf("%v: head at %.2f from %.2f, %.2f high, found %.2f", size, cx, top, high, head)
			}
		}
	}
}

func TestNothingMovingHasNoHead(t *testing.T) {
	var m Map
	if m.Head().Found() {
		t.Error("a head in no picture")
	}
	for range 3 {
		if err := m.Add(16, 9, make([]byte, 16*9)); err != nil {
			t.Fatal(err)
		}
	}
	if m.Head().Found() {
		t.Error("a head where nothing moves")
	}
}

// Growing and shrinking undo each other for a square within the picture, and
// what is thin is gone.
func TestShapesGrowAndShrink(t *testing.T) {
	s := newShape(20, 12)
	for y := 4; y < 9; y++ {
		for x := 5; x < 11; x++ {
			s.in[y*20+x] = true
		}
	}
	s.in[2*20+15] = true
	back := s.shrunk(1).grown(1)
	for i, in := range back.in {
		if want := s.in[i] && i != 2*20+15; in != want {
			t.Fatalf("pixel %d, %d is %v", i%20, i/20, in)
		}
	}
	// The lower edge closes a body, and a hole is filled.
	ring := newShape(5, 4)
	copy(ring.in, []bool{
		false, true, true, true, false,
		false, true, false, true, false,
		false, true, false, true, false,
		false, true, false, true, false,
	})
	for i, in := range ring.filled().in {
		if want := i%5 > 0 && i%5 < 4; in != want {
			t.Fatalf("filled pixel %d, %d is %v", i%5, i/5, in)
		}
	}
}
