package card

import (
	"fmt"
	"image"
	"image/draw"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"

	"ripieno/layout"
)

// Counter draws a short line for every frame of a film, such as the measure
// and the time, cheaply: each character it knows is drawn once and copied from
// then on. A Counter is not safe for concurrent use.
type Counter struct {
	W, H    int // pixels of one picture, even
	advance int
	glyphs  map[rune]*image.Gray
	blank   *image.Gray
}

// counterFont is the embedded font in which all characters are equally wide.
var counterFont = sync.OnceValue(func() *opentype.Font {
	f, err := opentype.Parse(gomono.TTF)
	if err != nil {
		panic("card: an embedded font is broken: " + err.Error()) // a build fault, not user data
	}
	return f
})

// Proportions of a counter: the font's size in its height, and how far the
// baseline lies below the top.
const (
	counterSize     = 0.8
	counterBaseline = 0.76
)

// NewCounter prepares pictures about height pixels high that hold the given
// number of characters. Both must be positive.
func NewCounter(height, chars int) (*Counter, error) {
	if height < 1 || chars < 1 {
		return nil, fmt.Errorf("card: a counter of %d characters, %d pixels high", chars, height)
	}
	h := max(8, layout.CeilEven(height))
	face, err := opentype.NewFace(counterFont(),
		&opentype.FaceOptions{Size: counterSize * float64(h), DPI: 72, Hinting: font.HintingFull})
	if err != nil {
		return nil, fmt.Errorf("card: %w", err)
	}
	defer face.Close()
	width, _ := face.GlyphAdvance('0')
	c := &Counter{H: h, advance: width.Ceil(), glyphs: map[rune]*image.Gray{}}
	c.W = layout.CeilEven(c.advance * (chars + 1))
	c.blank = image.NewGray(image.Rect(0, 0, c.advance, h))
	for r := ' '; r <= '~'; r++ {
		g := image.NewGray(c.blank.Bounds())
		d := font.Drawer{Dst: g, Src: image.White, Face: face, Dot: fixed.P(0, int(counterBaseline*float64(h)))}
		d.DrawString(string(r))
		c.glyphs[r] = g
	}
	return c, nil
}

// Draw writes text in white on black into dst, W·H grey values from 0 to 255
// line by line. Characters beyond the last and those outside of ASCII are left
// out. dst must be long enough.
func (c *Counter) Draw(dst []byte, text string) {
	img := &image.Gray{Pix: dst[:c.W*c.H], Stride: c.W, Rect: image.Rect(0, 0, c.W, c.H)}
	clear(img.Pix)
	x := c.advance / 2
	for _, r := range text {
		g := c.glyphs[r]
		if g == nil {
			g = c.blank
		}
		draw.Draw(img, image.Rect(x, 0, x+c.advance, c.H), g, image.Point{}, draw.Src)
		x += c.advance
	}
}
