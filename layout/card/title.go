package card

import (
	"errors"
	"image"
	"image/color"
	"strings"

	"ripieno/layout"
)

// TitleOptions is what a title or text card says.
type TitleOptions struct {
	Background color.NRGBA  // alpha is ignored
	Backdrop   *image.NRGBA // a picture of the canvas's size instead of the colour; nil for none
	Title      string       // large; wrapped, a newline breaks it; may be ""
	Lines      []string     // smaller, below a thin rule; blank ones are dropped
	Fonts      *Fonts       // nil: the embedded ones
}

// The sizes of a title card, in pixels at 1080 lines.
const (
	titleMost, titleLeast = 92.0, 40.0
	linesMost, linesLeast = 40.0, 22.0
	blockHeight           = 0.78 // of the canvas
	blockWidth            = 0.82
	leading               = 1.12 // line height over font height
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
	var head, body []line
	// Both parts shrink together, in fine steps, until the block fits.
	const steps = 24
	for i := range steps + 1 {
		t := float64(i) / steps
		head, body = s.titleLines(c, o, titleMost+(titleLeast-titleMost)*t, linesMost+(linesLeast-linesMost)*t)
		if leading*(stack(head)+stack(body))+ruleSpace(c, head, body) <= blockHeight*float64(c.H) && len(head) <= 3 {
			break
		}
	}
	if len(s.refusal) > 0 {
		return nil, errors.Join(s.refusal...)
	}
	p.titleBlock(c, bg, head, body)
	return p.NRGBA, nil
}

// titleLines sets both parts of a card, sizes at 1080 lines.
func (s *setter) titleLines(c layout.Canvas, o TitleOptions, title, lines float64) (head, body []line) {
	width := blockWidth * float64(c.W)
	if strings.TrimSpace(o.Title) != "" {
		head = s.wrapEvenly(o.Title, medium, c.Scale(title), width)
	}
	for _, text := range o.Lines {
		if strings.TrimSpace(text) != "" {
			body = append(body, s.wrapEvenly(text, regular, c.Scale(lines), width)...)
		}
	}
	return head, body
}

// ruleSpace returns the room between title and lines; none when one is absent.
func ruleSpace(c layout.Canvas, head, body []line) float64 {
	if len(head) == 0 || len(body) == 0 {
		return 0
	}
	return c.Scale(84)
}

// titleBlock draws the set lines, the block a little above the middle, where
// the eye takes it for centred. Lines beyond the bottom are left out.
func (p *picture) titleBlock(c layout.Canvas, bg color.NRGBA, head, body []line) {
	space := ruleSpace(c, head, body)
	total := leading*(stack(head)+stack(body)) + space
	y := max(c.Scale(40), (float64(c.H)-total)*0.48)
	bottom := float64(c.H) - c.Scale(24)
	draw := func(l line, ink color.NRGBA) {
		if y+l.height() <= bottom {
			p.write(l, (float64(c.W)-l.width)/2, y+l.ascent, ink, p.Rect)
		}
		y += leading * l.height()
	}
	for _, l := range head {
		draw(l, on(bg))
	}
	if space > 0 {
		half, thick := c.Scale(70), c.Scale(2.5)
		mid := y + space/2
		p.rect(box{float64(c.W)/2 - half, mid - thick/2, float64(c.W)/2 + half, mid + thick/2}, mix(bg, on(bg), 0.45))
		y += space
	}
	for _, l := range body {
		ink := quietColour(bg)
		if len(head) == 0 {
			ink = on(bg) // a card of text only
		}
		draw(l, ink)
	}
}
