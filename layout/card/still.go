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
}

// Still returns one frame of a film: pictures under an overlay. Sizes are changed
// with a cubic kernel. Parts outside the overlay or a picture are left out.
func Still(over *image.NRGBA, shown []Shown) *image.NRGBA {
	out := image.NewNRGBA(over.Rect)
	for _, s := range shown {
		draw.CatmullRom.Scale(out, rectangle(s.Hole), s.Picture, rectangle(s.Source).Add(s.Picture.Bounds().Min),
			draw.Src, nil)
	}
	draw.Draw(out, out.Rect, over, over.Rect.Min, draw.Over)
	return out
}
