package card

import (
	"image"
	"image/color"
	"strings"
	"testing"

	"ripieno/layout"
)

// plain returns a picture of one colour.
func plain(w, h int, c color.NRGBA) *image.NRGBA { return newPicture(w, h, c).NRGBA }

// TestCoverKeepsTheMiddle cuts pictures of three vertical and three horizontal
// bands to other shapes: what is cut off goes equally at both ends.
func TestCoverKeepsTheMiddle(t *testing.T) {
	red, green, blue := color.NRGBA{200, 0, 0, 255}, color.NRGBA{0, 200, 0, 255}, color.NRGBA{0, 0, 200, 255}
	banded := func(w, h int, across bool) *image.NRGBA {
		p := newPicture(w, h, red)
		if across {
			p.fill(image.Rect(w/3, 0, 2*w/3, h), green)
			p.fill(image.Rect(2*w/3, 0, w, h), blue)
		} else {
			p.fill(image.Rect(0, h/3, w, 2*h/3), green)
			p.fill(image.Rect(0, 2*h/3, w, h), blue)
		}
		return p.NRGBA
	}
	near := func(a, b color.NRGBA) bool {
		d := func(x, y uint8) int { return max(int(x)-int(y), int(y)-int(x)) }
		return d(a.R, b.R)+d(a.G, b.G)+d(a.B, b.B) < 12 && a.A == 255
	}
	for _, tt := range []struct {
		src                 *image.NRGBA
		w, h                int
		left, middle, right color.NRGBA
	}{
		{banded(300, 100, true), 300, 100, red, green, blue}, // whole
		{banded(300, 100, true), 60, 60, green, green, green},
		{banded(300, 100, true), 400, 200, red, green, blue}, // a quarter of each end is gone
	} {
		m := Cover(tt.src, tt.w, tt.h, black)
		for i, want := range []color.NRGBA{tt.left, tt.middle, tt.right} {
			if got := m.NRGBAAt(4+i*(tt.w-9)/2, tt.h/2); !near(got, want) {
				t.Errorf("%v to %dx%d: %v at place %d, want %v", tt.src.Rect, tt.w, tt.h, got, i, want)
			}
		}
	}
	high := Cover(banded(100, 300, false), 100, 100, black)
	if a, b := high.NRGBAAt(50, 4), high.NRGBAAt(50, 95); !near(a, green) || !near(b, green) {
		t.Errorf("a high picture cut to a square is %v above and %v below", a, b)
	}
	if got := Cover(plain(10, 10, color.NRGBA{}), 20, 20, red).NRGBAAt(9, 9); got != red {
		t.Errorf("through a transparent picture shows %v", got)
	}
	if got := Cover(plain(1, 5000, green), 600, 20, red).NRGBAAt(300, 10); !near(got, green) {
		t.Errorf("a slit of a picture gives %v", got)
	}
}

// TestTextOnAnyPicture: title, credits and roll reach AA on the brightest and
// on the darkest picture (WCAG 2.1, success criterion 1.4.3), measured on what
// is drawn.
func TestTextOnAnyPicture(t *testing.T) {
	for _, c := range []color.NRGBA{white, black, {128, 128, 128, 255}, {255, 255, 0, 255}} {
		back := plain(small.W, small.H, c)
		title, err := Title(small, TitleOptions{Title: "The Lamplighter's Round", Blocks: lines("Aurelio Tamsin"),
			Backdrop: back})
		if err != nil {
			t.Fatal(err)
		}
		o := CreditsOptions{Title: "Players", Credits: roll(6), Backdrop: back}
		pages, err := Credits(small, o)
		if err != nil {
			t.Fatal(err)
		}
		blank, err := Blank(small, dark, back)
		if err != nil {
			t.Fatal(err)
		}
		r, err := NewRoll(small, o, 1)
		if err != nil {
			t.Fatal(err)
		}
		rolled := &picture{NRGBA: blank}
		ground := blank.NRGBAAt(0, 0)
		for i, l := range r.lines {
			if got := Contrast(l.ink, ground); got < aa {
				t.Errorf("line %d of a roll on %v has a contrast of %.2f", i, c, got)
			}
		}
		for name, m := range map[string]*image.NRGBA{"title": title, "credits": pages[0], "blank": rolled.NRGBA} {
			if m.NRGBAAt(0, 0) != ground {
				t.Errorf("%s stands on %v, a blank card on %v", name, m.NRGBAAt(0, 0), ground)
			}
		}
		best := 1.0
		for i := 0; i < len(title.Pix); i += 4 {
			best = max(best, Contrast(color.NRGBA{title.Pix[i], title.Pix[i+1], title.Pix[i+2], 255}, ground))
		}
		if best < aa {
			t.Errorf("a title on %v has a contrast of %.2f", c, best)
		}
	}
	// Headings too, on every grey.
	for v := range 256 {
		bg := color.NRGBA{uint8(v), uint8(v), uint8(v), 255}
		if got := Contrast(headingInk(bg), bg); got < aa {
			t.Errorf("a heading on grey %d has a contrast of %.2f", v, got)
		}
	}
}

// TestOverlayOnAPicture: between tiles the picture, in holes nothing, behind a
// fitted take a picture of its own.
func TestOverlayOnAPicture(t *testing.T) {
	red, green := color.NRGBA{200, 0, 0, 255}, color.NRGBA{0, 200, 0, 255}
	tile, hole := layout.Rect{X: 20, Y: 20, W: 100, H: 60}, layout.Rect{X: 50, Y: 20, W: 40, H: 60}
	m, err := Overlay(small, OverlayOptions{
		Background: dark, Backdrop: plain(small.W, small.H, red), Holes: []layout.Rect{hole},
		Fills: []Fill{{Tile: tile, Picture: plain(tile.W, tile.H, green)}},
	})
	if err != nil {
		t.Fatal(err)
	}
	for at, want := range map[image.Point]color.NRGBA{{5, 5}: red, {25, 30}: green, {119, 79}: green, {120, 80}: red,
		{60, 40}: {}} {
		if got := m.NRGBAAt(at.X, at.Y); got != want {
			t.Errorf("%v is %v, want %v", at, got, want)
		}
	}
	_, err = Overlay(small, OverlayOptions{Backdrop: plain(10, 10, red)})
	if err == nil || !strings.Contains(err.Error(), "is not the size of the canvas") {
		t.Error(err)
	}
}

// TestGradient holds the ends of a gradient and, row by row, the mean of its dithered
// pixels against a straight line.
func TestGradient(t *testing.T) {
	top, bottom := color.NRGBA{0x20, 0x30, 0x40, 255}, color.NRGBA{0x0b, 0xff, 0x40, 255}
	m := Gradient(64, 400, top, bottom)
	if m.NRGBAAt(3, 0) != top || m.NRGBAAt(3, 399) != bottom {
		t.Errorf("from %v to %v", m.NRGBAAt(3, 0), m.NRGBAAt(3, 399))
	}
	for y := 0; y < 400; y += 4 {
		sum := 0.0
		for k := range 256 {
			sum += float64(m.NRGBAAt(k%64, y+k/64).R) / 256
		}
		// The mean of four rows is that of a place one and a half below the first.
		want := 0x20 + (float64(y)+1.5)/399*(0x0b-0x20)
		if off := sum - want; off > 0.1 || off < -0.1 {
			t.Fatalf("rows from %d: %.2f, want %.2f", y, sum, want)
		}
	}
}
