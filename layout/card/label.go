package card

import (
	"errors"
	"image"
	"image/color"
	"math"
	"strings"

	"ripieno/layout"
)

// Label is the name shown in a tile.
type Label struct {
	Tile       layout.Rect
	Name, Part string // either may be ""; both empty draws nothing
}

// LabelLook is how labels are drawn. Its zero value is a plate at the lower left, as
// large as the tile allows.
type LabelLook struct {
	Style layout.LabelStyle // "" is a plate
	// Screen is the short side in centimetres of the smallest screen on which names
	// are to be read, 0 for none: a name is no smaller than that, and is left out
	// where it does not fit in full.
	Screen float64
	// Corners are those of the labels, in their order; missing ones are the lower left.
	Corners []layout.Corner
	Ground  color.NRGBA // of strips; alpha is ignored
}

// corner returns where label i stands.
func (o LabelLook) corner(i int) layout.Corner {
	if i < len(o.Corners) {
		return o.Corners[i]
	}
	return layout.BottomLeft
}

// Labels returns the labels alone on a transparent picture, as Overlay draws them.
// Errors are Overlay's.
func Labels(c layout.Canvas, labels []Label, look LabelLook, fonts *Fonts) (*image.NRGBA, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	p, s := newPicture(c.W, c.H, color.NRGBA{}), newSetter(fonts)
	for i, l := range labels {
		if err := checkTiles(c, l.Tile); err != nil {
			return nil, err
		}
		p.label(s, c, l, look, look.corner(i))
	}
	return p.NRGBA, errors.Join(s.refusal...)
}

// The plate of a label. At 0.72 a white picture behind it becomes #585a5c at
// most, on which the name has a contrast of 6.2 and the part of 5.1; a test
// measures both.
var (
	plate   = color.NRGBA{0x10, 0x12, 0x15, 184} // 184/255 = 0.72
	nameInk = paper
	partInk = color.NRGBA{0xdc, 0xdb, 0xd6, 255}
	// fraction of the tile's short side; pixels at 1080 lines
	nameSize = struct{ ofTile, least, most float64 }{0.078, 13.5, 38}
)

const (
	partSize = 0.80 // of the name's
	padX     = 0.50 // of the name's size, inside the plate
	padY     = 0.24
	corner   = 0.22
	shrink   = 0.80 // how far text shrinks before it is cut
)

// letter returns the size of a name in a tile, in pixels. It grows with the tile
// between a least size, which is read on a television, and a most, which does not
// shout.
func letter(c layout.Canvas, tile layout.Rect) float64 {
	px := nameSize.ofTile * float64(min(tile.W, tile.H))
	return max(c.Scale(nameSize.least), min(px, c.Scale(nameSize.most)))
}

// setLabel is the lines of a label and where it lies.
type setLabel struct {
	px    float64
	lines []line
	inks  []color.NRGBA
	left  []float64 // where each line begins
	box   box       // with the room round the letters
	// margin is what lies between the box and the sides of the tile.
	margin float64
}

// inCorner moves a box from the lower left corner of a tile into another. margin is
// what lies between box and tile at the left, and is kept at the right.
func (b box) inCorner(at layout.Corner, tile box, margin float64) box {
	if at == layout.BottomRight || at == layout.TopRight {
		b.x0, b.x1 = tile.x1-margin-b.w(), tile.x1-margin
	}
	if at == layout.TopLeft || at == layout.TopRight {
		b.y0, b.y1 = tile.y0+margin, tile.y0+margin+b.h()
	}
	return b
}

// setLabel sets a label in a corner of its tile. It has no lines where nothing fits.
// The part is left out where both lines would cover much of the picture. With a
// smallest screen a text is there in full and large enough or not at all; without one
// it shrinks, and then loses its end.
func (s *setter) setLabel(c layout.Canvas, l Label, look LabelLook, at layout.Corner) (out setLabel) {
	px := letter(c, l.Tile)
	if look.Screen > 0 {
		px = max(px, Readable(c, look.Screen))
	}
	tile := boxOf(rectangle(l.Tile))
	margin := min(px*0.5, tile.w()*0.03)
	width := tile.w() - 2*margin - 2*padX*px
	room := tile.h() - 2*margin - 2*padY*px
	out.px = px
	for i, text := range []string{l.Name, l.Part} {
		if strings.TrimSpace(text) == "" {
			continue
		}
		size, w, colour := px, medium, nameInk
		if i == 1 {
			size, w, colour = px*partSize, regular, partInk
		}
		var t line
		if look.Screen > 0 { // in full, or not at all
			least := Readable(c, look.Screen)
			t = s.fit(text, w, max(size, least), least, width)
			if t.text != strings.TrimSpace(text) {
				continue
			}
		} else {
			t = s.fit(text, w, size, size*shrink, width)
		}
		limit := 0.4 // of the tile, for a second line
		if len(out.lines) == 0 {
			limit = 1
		}
		if len(t.runs) == 0 || stack(out.lines)+t.height() > min(room, limit*tile.h()) {
			continue
		}
		out.lines, out.inks = append(out.lines, t), append(out.inks, colour)
	}
	wide := 0.0
	for _, t := range out.lines {
		wide = max(wide, t.width)
	}
	b := box{x0: tile.x0 + margin, y1: tile.y1 - margin}
	b.x1 = b.x0 + wide + 2*padX*px
	b.y0 = b.y1 - stack(out.lines) - 2*padY*px
	b = b.inCorner(at, tile, margin)
	out.box, out.margin = b, margin
	for _, t := range out.lines {
		x := b.x0 + padX*px
		if at == layout.BottomRight || at == layout.TopRight {
			x = b.x1 - padX*px - t.width
		}
		out.left = append(out.left, x)
	}
	return out
}

// label draws a name in its tile, on the side and with the look that were chosen for the film.
func (p *picture) label(s *setter, c layout.Canvas, l Label, look LabelLook, at layout.Corner) {
	if look.Style == layout.Strip {
		p.strip(s, c, l, look)
		return
	}
	t := s.setLabel(c, l, look, at)
	if len(t.lines) == 0 {
		return
	}
	if look.Style == layout.Shadow {
		p.shadow(t)
	} else {
		p.rounded(t.box, corner*t.px, plate)
	}
	y := t.box.y0 + padY*t.px
	for i, k := range t.lines {
		p.write(k, t.left[i], y+k.ascent, t.inks[i], inside(t.box))
		y += k.height()
	}
}

// shadow darkens the picture round letters, with soft edges: right behind them as
// much as a plate does, so that they are read on white, and nothing a little
// farther away.
func (p *picture) shadow(t setLabel) {
	reach := max(1, int(math.Round(0.22*t.px)))
	r := inside(t.box.inset(-float64(2 * reach))).Intersect(p.Rect)
	if r.Empty() {
		return
	}
	cover := &picture{NRGBA: image.NewNRGBA(r)}
	y := t.box.y0 + padY*t.px
	for i, k := range t.lines { // every line has a bar of its own
		b := box{t.left[i], y, t.left[i] + k.width, y + k.height()}
		cover.rounded(b.inset(-0.2*t.px), 0.35*t.px, black)
		y += k.height()
	}
	mask := make([]float64, r.Dx()*r.Dy())
	for i := range mask {
		mask[i] = float64(cover.Pix[4*i+3])
	}
	for range 2 { // twice a box is a tent, soft enough to be no edge
		mask = blurRows(mask, r.Dx(), r.Dy(), reach)
		mask = blurColumns(mask, r.Dx(), r.Dy(), reach)
	}
	for y := r.Min.Y; y < r.Max.Y; y++ {
		row := p.Pix[p.PixOffset(r.Min.X, y):]
		for x := range r.Dx() {
			// Letters lie inside the bar, where the blur has taken little away.
			if a := min(255, 1.5*mask[(y-r.Min.Y)*r.Dx()+x]); a >= 1 {
				over((*[4]uint8)(row[4*x:]), plate, uint32(a))
			}
		}
	}
}

// blurRows returns the mean of every value and reach others at both sides. Beyond the
// sides counts as 0. A running sum makes its time the same for any reach.
func blurRows(in []float64, w, h, reach int) []float64 {
	out := make([]float64, len(in))
	for y := range h {
		row := in[y*w : (y+1)*w]
		sum := 0.0
		for x := -reach; x < w; x++ {
			if x+reach < w {
				sum += row[x+reach]
			}
			if x-reach-1 >= 0 {
				sum -= row[x-reach-1]
			}
			if x >= 0 {
				out[y*w+x] = sum / float64(2*reach+1)
			}
		}
	}
	return out
}

// blurColumns does what blurRows does, from top to bottom.
func blurColumns(in []float64, w, h, reach int) []float64 {
	turn := func(in []float64, w, h int) []float64 {
		out := make([]float64, len(in))
		for y := range h {
			for x := range w {
				out[x*h+y] = in[y*w+x]
			}
		}
		return out
	}
	return turn(blurRows(turn(in, w, h), h, w, reach), h, w)
}

// The height of a strip and the room beside its text, in sizes of the name.
const (
	stripHigh = 1.62
	stripPad  = 0.4
)

// StripHeight returns how many pixels at the foot of a tile a strip takes, even and
// less than a third of it. screen is as in [LabelLook].
func StripHeight(c layout.Canvas, tile layout.Rect, screen float64) int {
	px := letter(c, tile)
	if screen > 0 {
		px = max(px, Readable(c, screen))
	}
	return min(layout.NearEven(stripHigh*px), layout.FloorEven(tile.H/3))
}

// strip draws a name on a strip at the foot of a tile, with the part after it. Text
// is light or dark by its ground, whichever is read better.
func (p *picture) strip(s *setter, c layout.Canvas, l Label, look LabelLook) {
	high := float64(StripHeight(c, l.Tile, look.Screen))
	b := boxOf(rectangle(l.Tile))
	b.y0 = b.y1 - high
	ground := look.Ground
	ground.A = 255
	p.rect(b, ground)
	px := high / stripHigh
	least := shrink * px
	if look.Screen > 0 {
		least = min(px, Readable(c, look.Screen))
	}
	x, right := b.x0+stripPad*px, b.x1-stripPad*px // a strip may lie at the canvas's edge
	name := s.fit(l.Name, medium, px, least, right-x)
	if look.Screen > 0 && name.text != strings.TrimSpace(l.Name) {
		return
	}
	base := b.y0 + (high+name.ascent-name.descent)/2
	if len(name.runs) > 0 {
		p.write(name, x, base, on(ground), inside(b))
		x += name.width + 0.6*px
	}
	part := s.fit(l.Part, regular, max(least, partSize*px), max(least, partSize*shrink*px), right-x)
	if part.text == strings.TrimSpace(l.Part) { // in full, or not at all
		p.write(part, x, base, quietColour(ground), inside(b))
	}
}

// NameBoxes returns what every label would cover of the canvas in each of [layout.Corners], with
// the room round its letters. Corners of the look do not count. The plan asks it
// where a name would hide a face.
func NameBoxes(c layout.Canvas, labels []Label, look LabelLook, fonts *Fonts) [][4]layout.Rect {
	s := newSetter(fonts)
	out := make([][4]layout.Rect, len(labels))
	for i, l := range labels {
		set := s.setLabel(c, l, look, layout.BottomLeft)
		for k, at := range layout.Corners {
			r := inside(set.box.inCorner(at, boxOf(rectangle(l.Tile)), set.margin))
			out[i][k] = layout.Rect{X: r.Min.X, Y: r.Min.Y, W: r.Dx(), H: r.Dy()}
		}
	}
	return out
}

// stack returns the height of lines set without extra leading.
func stack(lines []line) (h float64) {
	for _, l := range lines {
		h += l.height()
	}
	return h
}
