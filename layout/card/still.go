package card

import (
	"image"

	"golang.org/x/image/draw"

	"ripieno/layout"
)

// Shown is a picture in a hole of an overlay.
type Shown struct {
	Picture image.Image
	Source  layout.Rect // the part of Picture that is shown
	Hole    layout.Rect // where on the canvas
	// Ground is filled with the same picture, enlarged, blurred and darkened, where
	// Hole leaves it free; the zero value is none.
	Ground layout.Rect
}

// How a ground is blurred and darkened: like the film's, to the eye. It is made
// of few pixels, whose size goes by the tile's.
const (
	groundCells  = 12  // across the shorter side
	groundBright = 0.6 // of the picture's light
)

// Still returns one frame of a film: pictures under an overlay. Sizes are changed
// with a cubic kernel. Parts outside the overlay or a picture are left out.
func Still(over *image.NRGBA, shown []Shown) *image.NRGBA {
	out := image.NewNRGBA(over.Rect)
	for _, s := range shown {
		if s.Ground != (layout.Rect{}) {
			drawGround(out, s)
		}
		draw.CatmullRom.Scale(out, rectangle(s.Hole), s.Picture, rectangle(s.Source).Add(s.Picture.Bounds().Min),
			draw.Src, nil)
	}
	draw.Draw(out, out.Rect, over, over.Rect.Min, draw.Over)
	return out
}

// drawGround fills the ground of s.
func drawGround(out *image.NRGBA, s Shown) {
	at := rectangle(s.Ground)
	src := rectangle(s.Source).Add(s.Picture.Bounds().Min)
	// The largest window of the ground's shape, in the middle.
	w, h := src.Dx(), src.Dx()*at.Dy()/at.Dx()
	if h > src.Dy() {
		w, h = src.Dy()*at.Dx()/at.Dy(), src.Dy()
	}
	corner := src.Min.Add(image.Pt((src.Dx()-w)/2, (src.Dy()-h)/2))
	window := image.Rectangle{corner, corner.Add(image.Pt(max(1, w), max(1, h)))}
	short := max(1, min(at.Dx(), at.Dy()))
	few := image.NewNRGBA(image.Rect(0, 0, max(2, at.Dx()*groundCells/short), max(2, at.Dy()*groundCells/short)))
	draw.CatmullRom.Scale(few, few.Rect, s.Picture, window, draw.Src, nil)
	for i, v := range few.Pix {
		if i%4 != 3 {
			few.Pix[i] = uint8(float64(v) * groundBright)
		}
	}
	draw.CatmullRom.Scale(out, at, few, few.Rect, draw.Src, nil)
}

// Shrink returns a drawing in a smaller size, and the drawing itself where it has that
// size or less.
func Shrink(m *image.NRGBA, c layout.Canvas) *image.NRGBA {
	if m.Rect.Dx() <= c.W {
		return m
	}
	out := image.NewNRGBA(image.Rect(0, 0, c.W, c.H))
	draw.CatmullRom.Scale(out, out.Rect, m, m.Rect, draw.Src, nil)
	return out
}
