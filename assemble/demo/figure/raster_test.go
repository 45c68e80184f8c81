package figure

import (
	"math"
	"testing"
)

// BT.709 limited-range bars, 8 bits.
func TestRGB(t *testing.T) {
	for hex, want := range map[int][3]int32{
		0xffffff: {235, 128, 128}, 0x000000: {16, 128, 128}, 0xffff00: {219, 16, 138}, 0x00ffff: {188, 154, 16},
		0xff00ff: {78, 214, 230}, 0xff0000: {63, 102, 240}, 0x0000ff: {32, 240, 118},
	} {
		if c := rgb(hex); [3]int32{c.y, c.u, c.v} != want {
			t.Errorf("%06x is %d %d %d, want %v", hex, c.y, c.u, c.v, want)
		}
	}
}

func TestMix(t *testing.T) {
	a, b := rgb(0), rgb(0xffffff).at(0.5)
	if m := a.mix(b, 0.5); m.y != 126 || m.alpha != 0.75 {
		t.Errorf("half way is %+v", m)
	}
	if a.mix(b, -3) != a || a.mix(b, 7) != b {
		t.Error("mix goes beyond its ends")
	}
}

// sheet returns a black canvas of w by h pixels.
func sheet(w, h int) canvas {
	f := NewFrame(w, h)
	for i := range f.Pix {
		f.Pix[i] = 128
		if i < w*h {
			f.Pix[i] = 16
		}
	}
	return newCanvas(f, identity)
}

// area returns how much of the canvas is white, in pixels.
func area(c canvas) float64 {
	y, _, _ := c.frame.planes()
	sum := 0.0
	for _, v := range y {
		sum += (float64(v) - 16) / 219
	}
	return sum
}

// The paint on the canvas is the shape's area, wherever it lies between the
// pixels, however it turns, and as far as it is on the canvas.
func TestFillCoversTheArea(t *testing.T) {
	circleArea := corners / 2.0 * math.Sin(2*math.Pi/corners) // of the polygon that stands for it
	for _, tt := range []struct {
		name  string
		shape shape
		want  float64
		tol   float64
	}{
		{"whole pixels", rectangle(10, 10, 30, 20), 200, 0.01},
		{"between pixels", rectangle(10.25, 10.5, 30.75, 20.25), 20.5 * 9.75, 0.4},
		{"the other way round", polygon(point{10, 20}, point{30, 20}, point{30, 10}, point{10, 10}), 200, 0.01},
		{"triangle", polygon(point{5, 5}, point{55, 15}, point{20, 44}), 0.5 * math.Abs(50*39-15*10), 1.5},
		{"circle", circle(point{32, 32}, 20), circleArea * 400, 2},
		{"small circle", circle(point{32.3, 32.6}, 1.5), circleArea * 2.25, 0.2},
		{"ring", ring(point{32, 32}, 20, 4), circleArea * (22*22 - 18*18), 2.5},
		{"half outside", rectangle(-20, 10, 10, 20), 100, 0.01},
		{"over all edges", rectangle(-100, -100, 500, 500), 64 * 64, 0.01},
		{"outside", rectangle(70, 10, 90, 20), 0, 0},
		{"above", circle(point{30, -50}, 20), 0, 0},
		{"twice the same", rectangle(10, 10, 30, 20).plus(rectangle(10, 10, 30, 20)), 200, 0.01},
		{"overlapping", rectangle(10, 10, 30, 20).plus(rectangle(20, 10, 40, 20)), 300, 0.01},
		{"slanted over the left edge", polygon(point{-10, 0}, point{10, 0}, point{10, 20}), 150, 1},
		{"mirrored", rectangle(-30, 10, -10, 20).mirror(), 200, 0.01},
	} {
		c := sheet(64, 64)
		c.fill(tt.shape, rgb(0xffffff))
		if got := area(c); math.Abs(got-tt.want) > tt.tol {
			t.Errorf("%s: %.2f pixels, want %.2f", tt.name, got, tt.want)
		}
		for i, v := range c.scratch.cover {
			if v != 0 {
				t.Fatalf("%s: coverage %d left over at %d", tt.name, v, i)
			}
		}
	}
}

func TestFillKeepsOthersPixels(t *testing.T) {
	c := sheet(64, 64)
	c.fill(rectangle(20, 20, 40, 40), rgb(0xff0000))
	y, u, v := c.frame.planes()
	for row := range 64 {
		for col := range 64 {
			inside := row >= 20 && row < 40 && col >= 20 && col < 40
			if got := y[row*64+col]; (got == 63) != inside || (got == 16) == inside {
				t.Fatalf("luma %d at %d,%d", got, col, row)
			}
			k := row/2*32 + col/2
			if inside != (u[k] == 102 && v[k] == 240) {
				t.Fatalf("chroma %d %d at %d,%d", u[k], v[k], col, row)
			}
		}
	}
}

func TestOpacity(t *testing.T) {
	c := sheet(8, 8)
	c.fill(rectangle(0, 0, 8, 8), rgb(0xffffff).at(0.25))
	y, _, _ := c.frame.planes()
	if got := int(y[20]); got < 70 || got > 72 { // 16 + 219/4
		t.Errorf("a quarter of white over black is %d", got)
	}
	c.fill(rectangle(0, 0, 8, 8), rgb(0xff0000).at(0))
	if got := int(y[20]); got < 70 || got > 72 {
		t.Error("an invisible paint shows")
	}
}

func TestElbow(t *testing.T) {
	for _, hand := range []point{{300, 320}, {300, 230}, {220, 150}, {390, 210}, {255, 205}, {258, 200}} {
		from := point{258, 200}
		e := elbow(from, hand, -1)
		if d := e.minus(from).length(); math.Abs(d-upperArm) > 1e-6 {
			t.Errorf("hand at %v: the upper arm is %v long", hand, d)
		}
		want := foreArm
		if reach := hand.minus(from).length(); reach < 12 {
			continue // too near to bend that far
		} else if d := hand.minus(e).length(); math.Abs(d-want) > 1e-6 {
			t.Errorf("hand at %v: the forearm is %v long", hand, d)
		}
	}
}

func FuzzFill(f *testing.F) {
	f.Add(1.0, 2.0, 30.0, 4.0, 10.0, 44.0)
	f.Add(-1e9, 2.0, 1e9, 4.0, 10.0, 1e300)
	f.Fuzz(func(t *testing.T, a, b, c, d, e, g float64) {
		for _, v := range []float64{a, b, c, d, e, g} {
			if math.IsNaN(v) || math.Abs(v) > 1e12 {
				return
			}
		}
		s := sheet(32, 16)
		s.fill(polygon(point{a, b}, point{c, d}, point{e, g}), rgb(0xffffff))
		if got := area(s); got < 0 || got > 32*16+0.01 {
			t.Fatalf("%v pixels of 512", got)
		}
	})
}
