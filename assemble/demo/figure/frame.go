// Package figure draws the demo's players: simple paper figures in lamplit
// rooms, each with an instrument, straight into video frames.
//
// What a frame shows is a pure function of the player and the guide time: how
// the hands are, whether the eyes are shut, how bright the lamp burns. Hands
// meet at the clap and bows turn, mallets land and lamps are lit at the very
// moment of the note they belong to, so that picture and sound can be
// compared. Nothing flashes: light changes over tenths of a second, and over a
// few per cent of the picture.
//
// Figures are made in units of a stage 640 wide and 360 high, origin at the
// top left, y down; a [View] maps them to pixels. The package knows nothing of
// files or encoders.
package figure

import (
	"image"
	"math"
)

// Frame is a picture of 4:2:0 video, 8 bits, BT.709 limited range. Pix is the
// Y plane, then U, then V, without padding: the layout of raw yuv420p.
type Frame struct {
	W, H int // even
	Pix  []byte
}

// NewFrame returns a frame of undefined colour. Odd sizes are rounded up.
func NewFrame(w, h int) *Frame {
	w, h = w+w%2, h+h%2
	return &Frame{w, h, make([]byte, w*h*3/2)}
}

// planes returns the three planes of the frame; they share its memory.
func (f *Frame) planes() (y, u, v []byte) {
	n := f.W * f.H
	return f.Pix[:n], f.Pix[n : n+n/4], f.Pix[n+n/4:]
}

// Image returns a copy of the frame for looking at. The copy is full range, as
// image.YCbCr is taken to be, though with BT.601 in mind: colours are close,
// not exact.
func (f *Frame) Image() image.Image {
	img := image.NewYCbCr(image.Rect(0, 0, f.W, f.H), image.YCbCrSubsampleRatio420)
	y, u, v := f.planes()
	for i, s := range y {
		img.Y[i] = byte(min(max((int(s)-16)*255/219, 0), 255))
	}
	for i := range u {
		img.Cb[i] = byte(min(max((int(u[i])-128)*255/224+128, 0), 255))
		img.Cr[i] = byte(min(max((int(v[i])-128)*255/224+128, 0), 255))
	}
	return img
}

// colour is a paint: BT.709 limited-range code values and an opacity, 0 to 1.
type colour struct {
	y, u, v int32
	alpha   float64
}

// rgb makes an opaque paint of 0xRRGGBB. Luma weights and excursions are those
// of ITU-R BT.709: Y' = 0.2126 R' + 0.7152 G' + 0.0722 B', codes 16 + 219 Y',
// 128 + 224 (B'−Y')/1.8556, 128 + 224 (R'−Y')/1.5748.
func rgb(hex int) colour {
	r, g, b := float64(hex>>16&255)/255, float64(hex>>8&255)/255, float64(hex&255)/255
	luma := 0.2126*r + 0.7152*g + 0.0722*b
	return colour{
		y:     int32(16 + 219*luma + 0.5),
		u:     int32(128 + 224*(b-luma)/1.8556 + 0.5),
		v:     int32(128 + 224*(r-luma)/1.5748 + 0.5),
		alpha: 1,
	}
}

// at returns the same paint with another opacity.
func (c colour) at(alpha float64) colour {
	c.alpha = min(max(alpha, 0), 1)
	return c
}

// mix returns a colour that goes from c at 0 to d at 1.
func (c colour) mix(d colour, x float64) colour {
	x = min(max(x, 0), 1)
	between := func(a, b int32) int32 { return a + int32(math.Round(float64(b-a)*x)) }
	return colour{between(c.y, d.y), between(c.u, d.u), between(c.v, d.v), c.alpha + (d.alpha-c.alpha)*x}
}
