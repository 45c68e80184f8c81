package card

import (
	"image"
	"image/color"
	"math"
	"math/rand/v2"
	"testing"
)

// TestOver holds the integer composition against the formula of Porter and
// Duff's "over" for straight alpha, in floating point.
func TestOver(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	byteOf := func() uint8 { return []uint8{0, 255, uint8(r.UintN(256))}[r.IntN(3)] }
	for range 20000 {
		dst := [4]uint8{byteOf(), byteOf(), byteOf(), byteOf()}
		c, cover := color.NRGBA{byteOf(), byteOf(), byteOf(), byteOf()}, uint32(byteOf())
		got := dst
		over(&got, c, cover)
		as := float64(c.A) / 255 * float64(cover) / 255
		ad := float64(dst[3]) / 255 * (1 - as)
		ao := as + ad
		if d := math.Abs(float64(got[3]) - 255*ao); d > 1 {
			t.Fatalf("%v over %v at %d: alpha %d, want %.2f", c, dst, cover, got[3], 255*ao)
		}
		if ao == 0 {
			continue
		}
		for i, s := range [3]uint8{c.R, c.G, c.B} {
			want := (float64(s)*as + float64(dst[i])*ad) / ao
			// A nearly transparent pixel's colour cannot be seen.
			if d := math.Abs(float64(got[i]) - want); d*ao > 1 {
				t.Fatalf("%v over %v at %d: channel %d is %d, want %.2f", c, dst, cover, i, got[i], want)
			}
		}
	}
}

// coverage returns the sum of coverage of everything painted in white on black.
func coverage(p *picture) (sum float64) {
	for i := 0; i < len(p.Pix); i += 4 {
		sum += float64(p.Pix[i]) / 255
	}
	return sum
}

// TestShapes: the painted area is the geometric one, in whatever fractions of
// a pixel the edges lie, and nothing is painted outside the clip.
func TestShapes(t *testing.T) {
	fresh := func() *picture { return newPicture(120, 100, black) }
	for _, tt := range []struct {
		name string
		draw func(*picture)
		want float64
	}{
		{"rect", func(p *picture) { p.rect(box{10.25, 10.5, 60.75, 40}, white) }, 50.5 * 29.5},
		{"frame", func(p *picture) { p.frame(box{10, 10, 60, 40}, 2.5, white) }, 50*30 - 45*25},
		{"thick frame is full", func(p *picture) { p.frame(box{10, 10, 20, 20}, 9, white) }, 100},
		{"lozenge", func(p *picture) { p.lozenge(50, 50, 40, 30, 1, false, p.Rect, white) }, 40 * 30 / 2},
		// a quadratic arc cuts a sixth off the square of its corner
		{"rounded", func(p *picture) { p.rounded(box{10, 10, 60, 40}, 6, white) }, 50*30 - 4*6*6/6.},
		{"clipped", func(p *picture) { p.lozenge(0, 50, 40, 40, 1, false, p.Rect, white) }, 40 * 40 / 4},
		{"outside", func(p *picture) { p.rect(box{200, 10, 300, 40}, white) }, 0},
		{"empty", func(p *picture) { p.rect(box{10, 10, 10, 40}, white) }, 0},
	} {
		p := fresh()
		tt.draw(p)
		if got := coverage(p); math.Abs(got-tt.want) > 0.01*tt.want+1 {
			t.Errorf("%s: area %.1f, want %.1f", tt.name, got, tt.want)
		}
	}
	hollow, full := fresh(), fresh()
	hollow.lozenge(50, 50, 40, 40, 3, true, hollow.Rect, white)
	full.lozenge(50, 50, 40, 40, 3, false, full.Rect, white)
	if hollow.NRGBAAt(50, 50).R != 0 || full.NRGBAAt(50, 50).R != 255 {
		t.Error("a hollow lozenge is full, or a full one hollow")
	}
	p := fresh()
	clip := image.Rect(30, 30, 60, 60)
	p.lozenge(50, 50, 80, 80, 1, false, clip, white)
	p.hatch(box{30, 30, 60, 60}, 6, white)
	if b := bounds(p.NRGBA, black); !b.In(clip.Inset(-1)) {
		t.Errorf("painted %v, clip %v", b, clip)
	}
	p = fresh()
	p.fill(image.Rect(-5, 90, 30, 200), color.NRGBA{1, 2, 3, 4})
	if p.NRGBAAt(0, 99) != (color.NRGBA{1, 2, 3, 4}) || p.NRGBAAt(30, 99) != black || p.NRGBAAt(0, 89) != black {
		t.Error("fill misses its rectangle")
	}
}
