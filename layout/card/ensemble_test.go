package card

import (
	"image"
	"image/color"
	"image/draw"
	"math"
	"testing"
)

// The ground of an ensemble has nobody's outlines: from one pixel to the next it changes
// by a step or two, it is as light as the pictures are together times its darkness, and
// every player's colour is where they are.
func TestEnsembleIsLightAndColourOnly(t *testing.T) {
	var pictures []image.Image
	colours := []color.NRGBA{{200, 40, 40, 255}, {40, 200, 40, 255}, {40, 40, 200, 255}, {200, 200, 200, 255}}
	for _, c := range colours {
		m := image.NewNRGBA(image.Rect(0, 0, 160, 90))
		for y := range 90 {
			for x := range 160 {
				if (x/4+y/4)%2 == 0 { // hard edges
					m.SetNRGBA(x, y, color.NRGBA{c.R / 3 * 2, c.G / 3 * 2, c.B / 3 * 2, 255})
				} else {
					m.SetNRGBA(x, y, c)
				}
			}
		}
		pictures = append(pictures, m)
	}
	const w, h = 320, 180
	m := Ensemble(pictures, w, h)
	sum := 0.0
	for y := range h {
		for x := range w {
			c := m.NRGBAAt(x, y)
			sum += float64(c.R) + float64(c.G) + float64(c.B)
			if x > 0 {
				if d := m.NRGBAAt(x-1, y); math.Abs(float64(c.G)-float64(d.G)) > 4 {
					t.Fatalf("an edge at %d,%d: %v beside %v", x, y, c, d)
				}
			}
		}
	}
	mean, want := sum/(3*w*h), 5./6*(3*(200+40+40)+3*200)/12*ensembleBright
	if math.Abs(mean-want) > 3 {
		t.Errorf("its light is %.1f, want %.1f", mean, want)
	}
	if a, b := m.NRGBAAt(20, 20), m.NRGBAAt(300, 160); a.R < a.G*2 || b.R < 50 || b.G < 50 {
		t.Errorf("corners are %v and %v", a, b)
	}
	one := image.NewUniform(color.NRGBA{90, 90, 90, 255})
	flat := image.NewNRGBA(image.Rect(0, 0, 8, 8))
	draw.Draw(flat, flat.Rect, one, image.Point{}, draw.Src)
	if m := Ensemble([]image.Image{flat}, 100, 160); m.Rect.Dx() != 100 || m.Rect.Dy() != 160 ||
		Ensemble(nil, 9, 9) != nil {
		t.Errorf("one picture makes %v", m.Rect)
	}
}
