package card

import (
	"fmt"
	"image"
	"image/color"

	"golang.org/x/image/draw"

	"ripieno/layout"
)

// Cover returns a picture cut to w by h from its middle and scaled with a cubic
// kernel; what is transparent in it shows the colour below, whose alpha is
// ignored. It computes with straight colours, as everything here: not in linear
// light.
func Cover(src image.Image, w, h int, below color.NRGBA) *image.NRGBA {
	below.A = 255
	b := src.Bounds()
	part := b
	if b.Dx()*h > b.Dy()*w { // wider than wanted
		part.Min.X += (b.Dx() - b.Dy()*w/h) / 2
		part.Max.X = part.Min.X + max(1, b.Dy()*w/h)
	} else {
		part.Min.Y += (b.Dy() - b.Dx()*h/w) / 2
		part.Max.Y = part.Min.Y + max(1, b.Dx()*h/w)
	}
	// The scaler is quick into this kind of picture; opaque, it is the same
	// bytes as straight alpha.
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	draw.Draw(out, out.Rect, image.NewUniform(below), image.Point{}, draw.Src)
	draw.CatmullRom.Scale(out, out.Rect, src, part, draw.Over, nil)
	return &image.NRGBA{Pix: out.Pix, Stride: out.Stride, Rect: out.Rect}
}

// bayer is the order in which the pixels of a square of four change from one value to
// the next (Bayer 1973, IEEE International Conference on Communications 1, 26-11).
var bayer = [4][4]float64{{0, 8, 2, 10}, {12, 4, 14, 6}, {3, 11, 1, 9}, {15, 7, 13, 5}}

// Gradient returns a picture of w by h whose colour runs from top to bottom. Pixels
// are dithered, without which dark colours show stripes; the alpha of the colours is
// ignored. Each pixel is raised by up to one step in a fixed pattern of 4 by 4, so
// the same colours give the same bytes.
func Gradient(w, h int, top, bottom color.NRGBA) *image.NRGBA {
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	from, to := [3]uint8{top.R, top.G, top.B}, [3]uint8{bottom.R, bottom.G, bottom.B}
	for y := range h {
		part := float64(y) / float64(max(1, h-1))
		for x := range w {
			pix := m.Pix[y*m.Stride+4*x:]
			for k := range from {
				v := float64(from[k]) + part*(float64(to[k])-float64(from[k]))
				pix[k] = uint8(v + (bayer[y%4][x%4]+0.5)/16)
			}
			pix[3] = 255
		}
	}
	return m
}

// ground begins a drawing: one colour, or a picture of the canvas's size.
func ground(c layout.Canvas, colour color.NRGBA, backdrop *image.NRGBA) (*picture, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	colour.A = 255
	if backdrop == nil {
		return newPicture(c.W, c.H, colour), nil
	}
	if backdrop.Rect != image.Rect(0, 0, c.W, c.H) {
		return nil, fmt.Errorf("backdrop: %v is not the size of the canvas, %v", backdrop.Rect, c)
	}
	p := &picture{NRGBA: image.NewNRGBA(backdrop.Rect)}
	for y := range c.H {
		copy(p.Pix[y*p.Stride:], backdrop.Pix[y*backdrop.Stride:][:4*c.W])
	}
	return p, nil
}

// cardGround begins a card of text. Over a picture lies the plate of labels, as
// large as the canvas, so that text is read whatever is in the picture; the
// colour that comes back is the brightest the text can stand on, which is the
// worst for it. It returns a picture that the caller may draw upon; backdrop is
// copied.
func cardGround(c layout.Canvas, colour color.NRGBA, backdrop *image.NRGBA) (*picture, color.NRGBA, error) {
	p, err := ground(c, colour, backdrop)
	if err != nil || backdrop == nil {
		return p, behindText(colour, backdrop), err
	}
	for y := range c.H {
		row := p.Pix[y*p.Stride:]
		for x := range c.W {
			over((*[4]uint8)(row[4*x:]), plate, 255)
		}
	}
	return p, behindText(colour, backdrop), nil
}

// behindText returns the colour text of a card is chosen for. White behind the plate
// is the worst case, whatever is really there.
func behindText(colour color.NRGBA, backdrop *image.NRGBA) color.NRGBA {
	if backdrop == nil {
		colour.A = 255
		return colour
	}
	worst := [4]uint8{255, 255, 255, 255}
	over(&worst, plate, 255)
	return color.NRGBA{worst[0], worst[1], worst[2], 255}
}

// Blank returns a card without text, for letters that are laid over it.
func Blank(c layout.Canvas, colour color.NRGBA, backdrop *image.NRGBA) (*image.NRGBA, error) {
	p, _, err := cardGround(c, colour, backdrop)
	if err != nil {
		return nil, err
	}
	return p.NRGBA, nil
}
