package card

import (
	"errors"
	"fmt"
	"image"
	"image/color"

	"golang.org/x/image/draw"

	"ripieno/layout"
)

// CropPicture is the picture of one take on a page of crops.
type CropPicture struct {
	Take, Note string      // the note says what the crop goes by
	Picture    image.Image // all of it, upright; nil where it cannot be read
	// Windows are the parts of it that the film shows, and Head where its head
	// was found, in pixels of a picture W wide and H high; Head may be zero.
	W, H    int
	Windows []layout.Rect
	Head    layout.Rect
}

// CropsOptions is what Crops draws.
type CropsOptions struct {
	Title    string
	Pictures []CropPicture
	Width    int    // of the page in pixels, 320 to 8192; 0 means 1280
	Fonts    *Fonts // nil: the embedded ones
}

// What a page of crops has beside the plan's colours.
var (
	cropShade = color.NRGBA{0x14, 0x16, 0x1a, 0xa0} // over what no tile shows
	cropLine  = color.NRGBA{0xff, 0xff, 0xff, 255}
	cropHead  = color.NRGBA{0xf2, 0xb8, 0x3c, 255}
)

// cropColumns is how many pictures stand beside each other.
const cropColumns = 4

// Crops draws the whole picture of every take with the parts that the film shows of
// it: what no tile shows is dark, every crop has a white frame, and the head a
// yellow one. Errors: *MissingError, joined, and arguments out of range.
func Crops(o CropsOptions) (*image.NRGBA, error) {
	if o.Width == 0 {
		o.Width = 1280
	}
	if o.Width < 320 || o.Width > 8192 {
		return nil, fmt.Errorf("width: %d is not within 320 and 8192 pixels", o.Width)
	}
	unit := float64(o.Width) / 1280
	margin, gap := 24*unit, 16*unit
	cell := (float64(o.Width) - 2*margin - (cropColumns-1)*gap) / cropColumns
	high, caption, top := cell*0.75, 48*unit, margin+56*unit
	rows := (len(o.Pictures) + cropColumns - 1) / cropColumns
	height := top + float64(rows)*(high+caption) + margin
	if height > 1<<15 {
		return nil, fmt.Errorf("%d pictures are too many for one page", len(o.Pictures))
	}
	p := newPicture(o.Width, int(height), planPaper)
	s := newSetter(o.Fonts)
	title := s.fit(o.Title, bold, unit*26, unit*16, float64(o.Width)-2*margin)
	p.write(title, margin, margin+title.ascent, planInk, p.Rect)
	for i, c := range o.Pictures {
		x := margin + float64(i%cropColumns)*(cell+gap)
		y := top + float64(i/cropColumns)*(high+caption)
		p.crop(c, box{x, y, x + cell, y + high}, unit)
		for j, text := range []string{c.Take, c.Note} {
			l := s.fit(text, []weight{bold, regular}[j], unit*15, unit*10, cell)
			p.write(l, x, y+high+unit*float64(18+18*j), []color.NRGBA{planInk, planQuiet}[j], p.Rect)
		}
	}
	return p.NRGBA, errors.Join(s.refusal...)
}

// crop draws one picture within a place.
func (p *picture) crop(c CropPicture, at box, unit float64) {
	if c.Picture == nil || c.W < 1 || c.H < 1 {
		p.rect(at, planCanvas)
		return
	}
	scale := min(at.w()/float64(c.W), at.h()/float64(c.H))
	x, y := (at.x0+at.x1-scale*float64(c.W))/2, (at.y0+at.y1-scale*float64(c.H))/2
	on := func(r layout.Rect) box {
		return box{x + scale*float64(r.X), y + scale*float64(r.Y), x + scale*float64(r.X+r.W),
			y + scale*float64(r.Y+r.H)}
	}
	whole := inside(on(layout.Rect{W: c.W, H: c.H}))
	lit := image.NewNRGBA(whole)
	draw.CatmullRom.Scale(lit, whole, c.Picture, c.Picture.Bounds(), draw.Src, nil)
	draw.Draw(p.NRGBA, whole, lit, whole.Min, draw.Src)
	p.rect(boxOf(whole), cropShade)
	for _, w := range c.Windows {
		r := inside(on(w))
		draw.Draw(p.NRGBA, r, lit, r.Min, draw.Src)
	}
	for _, w := range c.Windows {
		p.frame(on(w), max(1, 2*unit), cropLine)
	}
	if c.Head.W > 0 && c.Head.H > 0 {
		p.frame(on(c.Head), max(1, 1.5*unit), cropHead)
	}
}
