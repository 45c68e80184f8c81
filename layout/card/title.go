package card

import (
	"errors"
	"image"
	"image/color"
	"strings"

	"golang.org/x/image/draw"

	"ripieno/layout"
)

// TitleOptions is what a title or text card says.
type TitleOptions struct {
	Background color.NRGBA  // alpha is ignored
	Backdrop   *image.NRGBA // a picture of the canvas's size instead of the colour; nil for none
	Picture    image.Image  // a picture or a logo above the title; nil for none
	Title      string       // large; wrapped, a newline breaks it; may be ""
	Blocks     []TitleBlock // below a thin rule, apart from each other
	Fonts      *Fonts       // nil: the embedded ones
}

// TitleBlock is lines that belong together, such as an ensemble and its conductor.
// Blank ones are dropped.
type TitleBlock struct {
	Main []string // those read first
	More []string // below them, smaller and less prominent
}

// The proportions of a title card.
const (
	blockHeight  = 0.80 // of the canvas
	blockWidth   = 0.82
	leading      = 1.12 // line height over font height
	pictureHigh  = 0.27 // of the short side, at most
	pictureWide  = 0.60 // of the canvas
	blockGap     = 0.75 // between blocks, in sizes of the text
	pictureGap   = 1.0  // between picture and title
	ruleGap      = 1.9  // between title and blocks, with the rule in its middle
	shrinkBlocks = 0.74 // of the lines, when there are too many of them
)

// Title returns an opaque card: the title in the middle, lines of text under it.
// Text is wrapped, set smaller until everything fits, and in the last resort
// cut. Errors: *MissingError, joined, and the canvas's own.
func Title(c layout.Canvas, o TitleOptions) (*image.NRGBA, error) {
	p, bg, err := cardGround(c, o.Background, o.Backdrop)
	if err != nil {
		return nil, err
	}
	s := newSetter(o.Fonts)
	var t titleCard
	// All parts shrink together, in fine steps, until the block fits.
	const steps = 24
	for i := range steps + 1 {
		t = s.titleCard(c, o, bg, float64(i)/steps)
		if t.height() <= blockHeight*float64(c.H) && t.heads <= 3 {
			break
		}
	}
	if len(s.refusal) > 0 {
		return nil, errors.Join(s.refusal...)
	}
	t.draw(p, c, o.Picture)
	return p.NRGBA, nil
}

// titleCard is a card set at one size, from top to bottom.
type titleCard struct {
	text    float64 // size of the text, which gaps follow
	picture box     // size of the picture alone; empty for none
	heads   int     // lines of the title
	lines   []titleLine
	rule    color.NRGBA
}

// titleLine is a line and the room above it.
type titleLine struct {
	line
	above float64
	ink   color.NRGBA
	ruled bool // a thin rule stands in the middle of the room
}

// titleCard sets a card, at 0 as large as may be and at 1 as small.
func (s *setter) titleCard(c layout.Canvas, o TitleOptions, bg color.NRGBA, small float64) titleCard {
	width := blockWidth * float64(c.W)
	down := 1 - (1-shrinkBlocks)*small
	t := titleCard{text: size(c, sizeText) * down, rule: mix(bg, on(bg), 0.45)}
	if o.Picture != nil {
		b := o.Picture.Bounds()
		scale := min(pictureWide*float64(c.W)/float64(b.Dx()), pictureHigh*down*float64(min(c.W, c.H))/float64(b.Dy()))
		t.picture = box{0, 0, float64(b.Dx()) * scale, float64(b.Dy()) * scale}
	}
	if strings.TrimSpace(o.Title) != "" {
		px := size(c, sizeTitle+(sizeLeast-sizeTitle)*small)
		for _, l := range s.wrapEvenly(o.Title, display, px, width) {
			t.lines = append(t.lines, titleLine{line: l, ink: on(bg)})
		}
		t.heads = len(t.lines)
	}
	for _, b := range o.Blocks {
		above := blockGap * t.text
		if len(t.lines) == t.heads {
			above = ruleGap * t.text
		}
		add := func(texts []string, px float64, ink color.NRGBA) {
			for _, text := range texts {
				if strings.TrimSpace(text) == "" {
					continue
				}
				for _, l := range s.wrapEvenly(text, regular, px, width) {
					first := len(t.lines) == t.heads && t.heads > 0
					t.lines = append(t.lines, titleLine{line: l, above: above, ink: ink, ruled: first})
					above = 0
				}
			}
		}
		add(b.Main, t.text, on(bg))
		add(b.More, size(c, sizeSmall)*down, quietColour(bg))
	}
	if len(t.lines) > 0 && t.heads == 0 {
		t.lines[0].above = 0
	}
	return t
}

// height returns the height of all of it.
func (t titleCard) height() float64 {
	h := t.picture.h()
	if h > 0 && len(t.lines) > 0 {
		h += pictureGap * t.text
	}
	for _, l := range t.lines {
		h += l.above + leading*l.line.height()
	}
	return h
}

// draw draws the card, the block a little above the middle, where the eye takes it
// for centred. Lines beyond the bottom are left out.
func (t titleCard) draw(p *picture, c layout.Canvas, src image.Image) {
	y := max(c.Scale(40), (float64(c.H)-t.height())*0.48)
	bottom := float64(c.H) - c.Scale(24)
	mid := float64(c.W) / 2
	if t.picture.h() > 0 {
		at := box{mid - t.picture.w()/2, y, mid + t.picture.w()/2, y + t.picture.h()}
		lay(p, src, at)
		y = at.y1 + pictureGap*t.text
	}
	for _, l := range t.lines {
		if l.ruled {
			half, thick := c.Scale(70), c.Scale(2.5)
			at := y + l.above/2
			p.rect(box{mid - half, at - thick/2, mid + half, at + thick/2}, t.rule)
		}
		y += l.above
		if y+l.line.height() <= bottom {
			p.write(l.line, mid-l.width/2, y+l.ascent, l.ink, p.Rect)
		}
		y += leading * l.line.height()
	}
}

// lay scales a picture into a box, over what is there.
func lay(p *picture, src image.Image, at box) {
	r := image.Rect(int(at.x0+0.5), int(at.y0+0.5), int(at.x1+0.5), int(at.y1+0.5))
	small := image.NewRGBA(image.Rect(0, 0, r.Dx(), r.Dy()))
	draw.CatmullRom.Scale(small, small.Rect, src, src.Bounds(), draw.Src, nil)
	draw.Draw(p.NRGBA, r, small, image.Point{}, draw.Over)
}
