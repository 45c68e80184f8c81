package card

import (
	"image"
	"math"

	"golang.org/x/image/draw"
)

// How the ensemble is blurred behind everything: to few cells of colour for each player,
// and darker than a tile's own ground, since tiles and text stand on it.
const (
	ensembleCells  = 6   // across a picture
	ensembleBright = 0.4 // of the pictures' light
)

// Ensemble returns a picture of w by h of many pictures side by side, blurred until only
// light and colours are left, and darkened. nil for no pictures.
func Ensemble(pictures []image.Image, w, h int) *image.NRGBA {
	n := len(pictures)
	if n == 0 {
		return nil
	}
	// Places as wide as wide pictures, as many as fill the canvas; some are filled twice.
	cols := max(1, int(math.Round(math.Sqrt(float64(n)*float64(w)/float64(h)*9/16))))
	rows := (n + cols - 1) / cols
	few := image.NewRGBA(image.Rect(0, 0, cols*ensembleCells, rows*ensembleCells))
	for i := range cols * rows {
		at := image.Rect(0, 0, ensembleCells, ensembleCells).Add(image.Pt(i%cols*ensembleCells, i/cols*ensembleCells))
		// Catmull-Rom takes the mean where it makes a picture smaller.
		draw.CatmullRom.Scale(few, at, pictures[i%n], pictures[i%n].Bounds(), draw.Src, nil)
	}
	few = soften(few)
	fine := image.NewRGBA64(image.Rect(0, 0, w, h))
	draw.CatmullRom.Scale(fine, fine.Rect, few, few.Rect, draw.Src, nil)
	out := image.NewNRGBA(fine.Rect)
	for y := range h {
		for x := range w {
			c, pix := fine.RGBA64At(x, y), out.Pix[y*out.Stride+4*x:]
			for k, v := range [3]uint16{c.R, c.G, c.B} { // dithered, as gradients are
				pix[k] = uint8(min(255, float64(v)/257*ensembleBright+(bayer[y%4][x%4]+0.5)/16))
			}
			pix[3] = 255
		}
	}
	return out
}

// soften replaces each pixel by the mean of the nine round it, at the edge of those there
// are.
func soften(m *image.RGBA) *image.RGBA {
	out := image.NewRGBA(m.Rect)
	for y := range m.Rect.Dy() {
		for x := range m.Rect.Dx() {
			var sum [3]int
			n := 0
			for dy := -1; dy <= 1; dy++ {
				for dx := -1; dx <= 1; dx++ {
					if at := image.Pt(x+dx, y+dy); at.In(m.Rect) {
						pix := m.Pix[m.PixOffset(at.X, at.Y):]
						for k := range sum {
							sum[k] += int(pix[k])
						}
						n++
					}
				}
			}
			pix := out.Pix[out.PixOffset(x, y):]
			for k := range sum {
				pix[k] = uint8(sum[k] / n)
			}
			pix[3] = 255
		}
	}
	return out
}
