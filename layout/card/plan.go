package card

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"slices"
	"strings"

	"golang.org/x/image/draw"

	"ripieno/layout"
)

// PlanTile is one tile of a printed plan.
type PlanTile struct {
	Tile         layout.Rect
	Picture      layout.Rect // the part of the tile the picture covers; the zero value is all of it
	Seat         int         // counted from 1
	Take         string
	Player, Part string // may be ""
	Section      string // tiles of one section have one colour; may be ""
	Note         string // "not in yet", "sound only"; a tile with a note is hatched
}

// PlanShot is one shot of a printed plan. A shot without tiles is a card.
type PlanShot struct {
	Caption string // "m1 to m33 · tutti"
	Text    string // what a card says
	Tiles   []PlanTile
	// Still is drawn in place of the tiles, for a storyboard; the drawing that
	// can be scaled has no room for it.
	Still image.Image
}

// PlanOptions is what PlanPicture draws.
type PlanOptions struct {
	Canvas layout.Canvas
	Title  string
	Shots  []PlanShot
	Width  int    // of the picture in pixels, 320 to 8192; 0 means 1280
	Fonts  *Fonts // nil: the embedded ones
}

// The plan is drawn on paper: dark on light, so that it can be printed.
var (
	planPaper  = color.NRGBA{0xfb, 0xfa, 0xf7, 255}
	planCanvas = color.NRGBA{0xe4, 0xe2, 0xdc, 255}
	planLine   = color.NRGBA{0x6d, 0x70, 0x76, 255}
	planInk    = color.NRGBA{0x1c, 0x1f, 0x24, 255}
	planQuiet  = color.NRGBA{0x4b, 0x4f, 0x56, 255} // AA on every tint, hatched too; a test measures it

	// Tints tell sections apart; light enough for dark text.
	planTints = []color.NRGBA{
		{0xff, 0xff, 0xff, 255}, {0xdc, 0xe8, 0xf2, 255}, {0xf3, 0xe6, 0xd2, 255}, {0xdf, 0xed, 0xdd, 255},
		{0xee, 0xdf, 0xea, 255}, {0xf2, 0xec, 0xc8, 255}, {0xd9, 0xec, 0xea, 255}, {0xf3, 0xdd, 0xd7, 255},
	}
)

// PlanPicture draws a plan a person can read and print: every shot's canvas
// with its tiles, seat numbers, takes, players, parts and sizes. One shot
// takes the whole width, more stand in columns. Errors: *RectError and
// *MissingError, joined, and arguments out of range.
func PlanPicture(o PlanOptions) (*image.NRGBA, error) {
	g, err := newSheet(&o)
	if err != nil {
		return nil, err
	}
	p := newPicture(o.Width, g.height, planPaper)
	if err := g.draw(o, p); err != nil {
		return nil, err
	}
	for i, sh := range o.Shots {
		if sh.Still == nil {
			continue
		}
		x, y := g.corner(i)
		frame := box{x, y + g.caption, x + g.w, y + g.caption + g.h}
		draw.CatmullRom.Scale(p.NRGBA, inside(frame), sh.Still, sh.Still.Bounds(), draw.Src, nil)
		p.frame(frame, max(1, g.unit), planInk)
	}
	return p.NRGBA, nil
}

// PlanSVG returns what PlanPicture draws as a drawing that can be scaled and searched: text
// stays text, in whatever sans-serif the viewer has, stretched to the width it
// was planned with. The errors are PlanPicture's.
func PlanSVG(o PlanOptions) ([]byte, error) {
	g, err := newSheet(&o)
	if err != nil {
		return nil, err
	}
	d := newDrawing(o.Width, g.height, planPaper)
	if err := g.draw(o, d); err != nil {
		return nil, err
	}
	return d.bytes(), nil
}

// surface is what a plan is drawn on: pixels or SVG.
type surface interface {
	rect(box, color.NRGBA)
	frame(b box, thick float64, c color.NRGBA)
	hatch(b box, step float64, c color.NRGBA)
	write(l line, x, baseline float64, c color.NRGBA, clip image.Rectangle)
}

// checkPlan fills in the width and reports what cannot be drawn.
func checkPlan(o *PlanOptions) error {
	if o.Width == 0 {
		o.Width = 1280
	}
	if err := o.Canvas.Check(); err != nil {
		return err
	}
	if o.Width < 320 || o.Width > 8192 {
		return fmt.Errorf("width: %d is not within 320 and 8192 pixels", o.Width)
	}
	var errs []error
	for _, sh := range o.Shots {
		for _, t := range sh.Tiles {
			errs = append(errs, checkTiles(o.Canvas, t.Tile))
			if t.Picture != (layout.Rect{}) {
				errs = append(errs, checkTiles(o.Canvas, t.Picture))
			}
		}
	}
	return errors.Join(errs...)
}

// draw draws the head and every shot.
func (g sheet) draw(o PlanOptions, p surface) error {
	s := newSetter(o.Fonts)
	title := s.fit(o.Title, bold, g.unit*26, g.unit*16, float64(o.Width)*0.75)
	page := image.Rect(0, 0, o.Width, g.height)
	p.write(title, g.margin, g.margin+title.ascent, planInk, page)
	size := s.set(fmt.Sprintf("canvas %v", o.Canvas), regular, g.unit*16)
	p.write(size, float64(o.Width)-g.margin-size.width, g.margin+title.ascent, planQuiet, page)
	for i, sh := range o.Shots {
		g.shot(p, s, sh, i)
	}
	return errors.Join(s.refusal...)
}

// sheet is the geometry of the page.
type sheet struct {
	unit, margin  float64 // one pixel at a width of 1280; the page's margin
	head, caption float64 // heights of the title and of a caption
	columns       int
	left          float64 // where the first column begins
	scale         float64 // page pixels in a canvas pixel
	w, h          float64 // a canvas on the page
	height        int
	tints         map[string]color.NRGBA
}

// newSheet plans how the shots lie on the page. What cannot be drawn is an error.
func newSheet(o *PlanOptions) (sheet, error) {
	if err := checkPlan(o); err != nil {
		return sheet{}, err
	}
	g := sheet{unit: float64(o.Width) / 1280}
	g.margin, g.head, g.caption = 24*g.unit, 44*g.unit, 28*g.unit
	wide := o.Canvas.W >= o.Canvas.H
	pictures := slices.ContainsFunc(o.Shots, func(s PlanShot) bool { return s.Still != nil })
	switch {
	case pictures: // a storyboard is looked over, not read
		g.columns = min(4, len(o.Shots))
		if wide {
			g.columns = min(3, len(o.Shots))
		}
	case len(o.Shots) < 2:
		g.columns = 1
	case wide:
		g.columns = 2
	default:
		g.columns = min(4, len(o.Shots))
	}
	page := float64(o.Width) - 2*g.margin
	g.w = (page - float64(g.columns-1)*g.margin) / float64(g.columns)
	g.scale = min(g.w/float64(o.Canvas.W), page*1.1/float64(o.Canvas.H))
	g.w, g.h = g.scale*float64(o.Canvas.W), g.scale*float64(o.Canvas.H)
	g.left = (float64(o.Width) - float64(g.columns)*(g.w+g.margin) + g.margin) / 2
	rows := (len(o.Shots) + g.columns - 1) / g.columns
	g.height = int(g.margin + g.head + float64(rows)*(g.caption+g.h+g.margin) + 0.5)
	if g.height > 1<<15 {
		return g, fmt.Errorf("%d shots on one plan are too many to draw; draw them one by one", len(o.Shots))
	}
	g.tints = map[string]color.NRGBA{"": planTints[0]}
	for _, sh := range o.Shots {
		for _, t := range sh.Tiles {
			if _, ok := g.tints[t.Section]; !ok {
				g.tints[t.Section] = planTints[1+(len(g.tints)-1)%(len(planTints)-1)]
			}
		}
	}
	return g, nil
}

// place turns a canvas rectangle into page coordinates.
func (g sheet) place(r layout.Rect, x, y float64) box {
	return box{x + float64(r.X)*g.scale, y + float64(r.Y)*g.scale, x + float64(r.Right())*g.scale,
		y + float64(r.Bottom())*g.scale}
}

// corner returns where the caption of shot i begins.
func (g sheet) corner(i int) (x, y float64) {
	return g.left + float64(i%g.columns)*(g.w+g.margin),
		g.margin + g.head + float64(i/g.columns)*(g.caption+g.h+g.margin)
}

// shot draws the caption and the canvas of shot i.
func (g sheet) shot(p surface, s *setter, sh PlanShot, i int) {
	x, y := g.corner(i)
	sizes := s.set(tileSizes(sh.Tiles), regular, g.unit*14)
	caption := s.fit(sh.Caption, medium, g.unit*16, g.unit*12, g.w-sizes.width-g.margin)
	row := inside(box{x, y, x + g.w, y + g.caption})
	p.write(caption, x, y+caption.ascent, planInk, row)
	p.write(sizes, x+g.w-sizes.width, y+caption.ascent, planQuiet, row)
	y += g.caption
	frame := box{x, y, x + g.w, y + g.h}
	p.rect(frame, planCanvas)
	for _, t := range sh.Tiles {
		g.tile(p, s, t, x, y)
	}
	if len(sh.Tiles) == 0 {
		text := s.wrap(sh.Text, medium, g.unit*22, g.w*0.8)
		ty := y + (g.h-leading*stack(text))/2
		for _, l := range text {
			p.write(l, x+(g.w-l.width)/2, ty+l.ascent, planInk, inside(frame))
			ty += leading * l.height()
		}
	}
	p.frame(frame, max(1, 1.5*g.unit), planInk)
}

// tileSizes returns "12 tiles, 478x268"; unequal tiles show the largest and the
// smallest.
func tileSizes(tiles []PlanTile) string {
	if len(tiles) == 0 {
		return "card"
	}
	big, small := tiles[0].Tile, tiles[0].Tile
	for _, t := range tiles {
		if t.Tile.W*t.Tile.H > big.W*big.H {
			big = t.Tile
		}
		if t.Tile.W*t.Tile.H < small.W*small.H {
			small = t.Tile
		}
	}
	n := "1 tile"
	if len(tiles) > 1 {
		n = fmt.Sprintf("%d tiles", len(tiles))
	}
	if big.W == small.W && big.H == small.H {
		return fmt.Sprintf("%s, %dx%d", n, big.W, big.H)
	}
	return fmt.Sprintf("%s, %dx%d to %dx%d", n, big.W, big.H, small.W, small.H)
}

// tile draws one tile: number and take always, the rest where there is room
// for it.
func (g sheet) tile(p surface, s *setter, t PlanTile, x, y float64) {
	b := g.place(t.Tile, x, y)
	p.rect(b, g.tints[t.Section])
	if t.Note != "" {
		p.hatch(b, 11*g.unit, mix(g.tints[t.Section], planLine, 0.17))
	}
	if t.Picture != (layout.Rect{}) && t.Picture != t.Tile {
		p.frame(g.place(t.Picture, x, y), g.unit, mix(g.tints[t.Section], planLine, 0.5))
	}
	p.frame(b, max(1, g.unit), planLine)
	in := b.inset(min(7*g.unit, b.w()*0.06))
	px := max(8*g.unit, min(18*g.unit, b.h()*0.16))
	at := in.y0
	put := func(text string, w weight, size float64, ink color.NRGBA) {
		if text = strings.TrimSpace(text); text == "" {
			return
		}
		l := s.fit(text, w, size, max(7*g.unit, size*0.85), in.w())
		if at+l.height() > in.y1+0.5 {
			return
		}
		p.write(l, in.x0, at+l.ascent, ink, inside(b))
		at += l.height() * 1.04
	}
	put(fmt.Sprintf("%d  %s", t.Seat, t.Take), bold, px, planInk)
	put(t.Player, regular, px*0.92, planInk)
	put(t.Part, regular, px*0.92, planQuiet)
	put(t.Note, regular, px*0.84, planQuiet)
	size := s.set(fmt.Sprintf("%dx%d", t.Tile.W, t.Tile.H), regular, px*0.72)
	if in.y1-at >= size.height() && size.width <= in.w() {
		p.write(size, in.x1-size.width, in.y1-size.descent, planQuiet, inside(b))
	}
}
