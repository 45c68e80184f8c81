package card

import (
	"image"
	"image/color"
	"testing"

	"ripieno/layout"
)

// TestStillShowsThePartInTheHole cuts the green half of a picture into a hole.
func TestStillShowsThePartInTheHole(t *testing.T) {
	pic := image.NewNRGBA(image.Rect(0, 0, 40, 20))
	for y := range 20 {
		for x := range 40 {
			c := color.NRGBA{200, 0, 0, 255}
			if x >= 20 {
				c = color.NRGBA{0, 200, 0, 255}
			}
			pic.SetNRGBA(x, y, c)
		}
	}
	hole := layout.Rect{X: 20, Y: 10, W: 60, H: 60}
	over, err := Overlay(layout.Canvas{W: 160, H: 90},
		OverlayOptions{Background: color.NRGBA{0, 0, 90, 255}, Holes: []layout.Rect{hole}})
	if err != nil {
		t.Fatal(err)
	}
	still := Still(over, []Shown{{Picture: pic, Source: layout.Rect{X: 20, W: 20, H: 20}, Hole: hole}})
	for _, c := range []struct {
		x, y int
		want color.NRGBA
	}{{30, 40, color.NRGBA{0, 200, 0, 255}}, {78, 68, color.NRGBA{0, 200, 0, 255}},
		{10, 40, color.NRGBA{0, 0, 90, 255}}, {82, 40, color.NRGBA{0, 0, 90, 255}}} {
		if got := still.NRGBAAt(c.x, c.y); got != c.want {
			t.Errorf("%d,%d is %v, want %v", c.x, c.y, got, c.want)
		}
	}
}

// TestStoryboardDrawsStills finds a shot's picture on the page, under its caption.
func TestStoryboardDrawsStills(t *testing.T) {
	still := image.NewNRGBA(image.Rect(0, 0, 32, 18))
	for i := 0; i < len(still.Pix); i += 4 {
		copy(still.Pix[i:], []byte{250, 0, 250, 255})
	}
	o := PlanOptions{Canvas: layout.Canvas{W: 320, H: 180}, Title: "Sheet", Width: 640,
		Shots: []PlanShot{{Caption: "one", Still: still}, {Caption: "two"}}}
	page, err := PlanPicture(o)
	if err != nil {
		t.Fatal(err)
	}
	n := 0
	for i := 0; i < len(page.Pix); i += 4 {
		if page.Pix[i] == 250 && page.Pix[i+1] == 0 && page.Pix[i+2] == 250 {
			n++
		}
	}
	// Two columns on 640 pixels: about 290 by 163.
	if n < 280*150 || n > 300*170 {
		t.Errorf("%d pixels of the picture on a page of %v", n, page.Rect)
	}
}

// TestStillHasAGround fills what a picture leaves free of its tile with the
// picture itself, darker.
func TestStillHasAGround(t *testing.T) {
	pic := image.NewNRGBA(image.Rect(0, 0, 40, 40))
	for i := range pic.Pix {
		pic.Pix[i] = 200
		if i%4 == 3 {
			pic.Pix[i] = 255
		}
	}
	tile, hole := layout.Rect{X: 10, Y: 10, W: 140, H: 70}, layout.Rect{X: 46, Y: 10, W: 68, H: 70}
	over, err := Overlay(layout.Canvas{W: 160, H: 90}, OverlayOptions{Background: color.NRGBA{0, 0, 90, 255},
		Holes: []layout.Rect{tile}})
	if err != nil {
		t.Fatal(err)
	}
	still := Still(over, []Shown{{Picture: pic, Source: layout.Rect{W: 40, H: 40}, Hole: hole, Ground: tile}})
	for _, c := range []struct {
		x    int
		want color.NRGBA
	}{{80, color.NRGBA{200, 200, 200, 255}}, {14, color.NRGBA{120, 120, 120, 255}},
		{146, color.NRGBA{120, 120, 120, 255}},
		{5, color.NRGBA{0, 0, 90, 255}}} {
		if got := still.NRGBAAt(c.x, 45); got != c.want {
			t.Errorf("%d is %v, want %v", c.x, got, c.want)
		}
	}
	if small := Shrink(still, layout.Canvas{W: 80, H: 45}); small.Rect.Dx() != 80 || small.Rect.Dy() != 45 {
		t.Errorf("shrunk to %v", small.Rect)
	}
}
