package card

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"
	"strings"

	"ripieno/layout"
)

// Roll is the roster in one long column that moves up the canvas. It is set
// once; any stretch of it can be drawn, so no picture need be as long as it.
// A Roll is not safe for concurrent use.
type Roll struct {
	Height int // pixels from the top of the first line to the foot of the last
	canvas layout.Canvas
	lines  []rolled
}

// rolled is a line with its place in the roll.
type rolled struct {
	line
	x, baseline float64
	ink         color.NRGBA
}

// rollGap is the free space below the title, in rows.
const rollGap = 2

// NewRoll sets the roster for a canvas. stretch of 1 is the usual distance
// between rows; more spreads them. Text too wide is shrunk and cut as in
// Credits, whose errors these are; a stretch that is not from 0.8 to 4 is an
// error too.
func NewRoll(c layout.Canvas, o CreditsOptions, stretch float64) (*Roll, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	if !(stretch >= 0.8 && stretch <= 4) {
		return nil, fmt.Errorf("stretch: %v is not within 0.8 and 4", stretch)
	}
	s := newSetter(o.Fonts)
	r := &Roll{canvas: c}
	o.Background = behindText(o.Background, o.Backdrop)
	px := size(c, creditsMost)
	full := float64(c.W) - 2*c.Scale(creditsMargin)
	step := rowHeight * px * stretch
	y := 0.0
	if strings.TrimSpace(o.Title) != "" {
		for _, l := range s.wrapEvenly(o.Title, display, size(c, sizeHead), full) {
			r.lines = append(r.lines, rolled{l, (float64(c.W) - l.width) / 2, y + l.ascent, on(o.Background)})
			y += leading * l.height() * stretch
		}
		y += (rollGap - 1) * step
	}
	y = r.rows(s, o, px, full, y, step) + step
	for _, l := range s.foot(c, o, full) {
		r.lines = append(r.lines, rolled{l, (float64(c.W) - l.width) / 2, y + l.ascent, quietColour(o.Background)})
		y += leading * l.height() * stretch
	}
	for _, l := range r.lines {
		r.Height = max(r.Height, int(math.Ceil(l.baseline+l.descent)))
	}
	return r, errors.Join(s.refusal...)
}

// rows sets the credits from y on: the gap between part and name stands where
// it leaves the same room at both sides. It returns where they end.
func (r *Roll) rows(s *setter, o CreditsOptions, px, full, y, step float64) float64 {
	parts, names := s.columnWidths(o.Credits, px, full)
	x := (float64(r.canvas.W) - parts - nameGap*px - names) / 2
	bg := o.Background
	for _, k := range s.rows(o.Credits, px, parts, names) {
		y += step
		base := y - 0.3*step
		for _, l := range []rolled{
			{k.heading, x + parts + nameGap*px, base, headingInk(bg)},
			{k.part, x + parts - k.part.width, base, quietColour(bg)},
			{k.name, x + parts + nameGap*px, base, on(bg)},
		} {
			if len(l.runs) > 0 {
				r.lines = append(r.lines, l)
			}
		}
	}
	return y
}

// Draw returns the rows from top to top+height of the roll, as wide as the canvas,
// transparent but for the letters. It may reach beyond either end.
func (r *Roll) Draw(top, height int) *image.NRGBA {
	p := newPicture(r.canvas.W, height, color.NRGBA{})
	for _, l := range r.lines {
		y := l.baseline - float64(top)
		if y+l.descent < 0 || y-l.ascent > float64(height) {
			continue
		}
		p.write(l.line, l.x, y, l.ink, p.Rect)
	}
	return p.NRGBA
}
