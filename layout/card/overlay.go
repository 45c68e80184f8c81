package card

import (
	"errors"
	"hash/fnv"
	"image"
	"image/color"
	"image/draw"
	"strings"

	"ripieno/layout"
)

// Placeholder is a tile without a picture: an audio-only or expected player.
type Placeholder struct {
	Tile             layout.Rect
	Name, Part, Note string // Note is for instance "sound only"; any may be ""
	Expected         bool   // hollow marks instead of filled ones
}

// Fill is a rectangle of one colour, or with a picture, below everything but the
// background. The caller sees to it that fills do not lie over each other.
type Fill struct {
	Tile   layout.Rect
	Colour color.NRGBA // alpha is ignored
	// Picture, when it is not nil, is shown instead: of the tile's size, opaque.
	Picture *image.NRGBA
}

// OverlayOptions is what Overlay draws.
type OverlayOptions struct {
	Background color.NRGBA // alpha is ignored, the background is opaque
	// a picture of the canvas's size instead, Background is then for cards alone; nil for none
	Backdrop     *image.NRGBA
	Fills        []Fill // round pictures that do not fill their tile
	Holes        []layout.Rect
	Labels       []Label
	Look         LabelLook // of all labels
	Placeholders []Placeholder
	Fonts        *Fonts // nil: the embedded ones
}

// Overlay returns the picture that lies over the moving tiles of a shot: opaque
// background, fully transparent in the holes, with labels and placeholders on
// top. A label's plate is part transparent; its text reaches WCAG AA contrast
// whatever moves behind it.
//
// Text shrinks, then loses its end to an ellipsis, and never leaves its plate.
// Errors, joined: *RectError for a tile off the canvas, *MissingError for text
// no font can draw.
func Overlay(c layout.Canvas, o OverlayOptions) (*image.NRGBA, error) {
	if err := c.Check(); err != nil {
		return nil, err
	}
	tiles := append([]layout.Rect(nil), o.Holes...)
	for _, f := range o.Fills {
		tiles = append(tiles, f.Tile)
	}
	for _, l := range o.Labels {
		tiles = append(tiles, l.Tile)
	}
	for _, h := range o.Placeholders {
		tiles = append(tiles, h.Tile)
	}
	if err := checkTiles(c, tiles...); err != nil {
		return nil, err
	}
	bg := o.Background
	bg.A = 255
	p, err := ground(c, bg, o.Backdrop)
	if err != nil {
		return nil, err
	}
	s := newSetter(o.Fonts)
	for _, f := range o.Fills {
		if f.Picture != nil {
			draw.Draw(p, rectangle(f.Tile), f.Picture, f.Picture.Rect.Min, draw.Src)
			continue
		}
		f.Colour.A = 255
		p.fill(rectangle(f.Tile), f.Colour)
	}
	for _, h := range o.Holes {
		p.fill(rectangle(h), color.NRGBA{})
	}
	for _, h := range o.Placeholders {
		p.placeholder(s, c, h, bg)
	}
	for i, l := range o.Labels {
		p.label(s, c, l, o.Look, o.Look.corner(i))
	}
	if len(s.refusal) > 0 {
		return nil, errors.Join(s.refusal...)
	}
	return p.NRGBA, nil
}

// placeholder draws a calm tile: five thin lines with a few lozenge notes over
// the text. Where the notes stand follows from the name, so players differ and
// every render is alike. bg is the ground of the film, against which the tile is a
// little lighter or darker.
func (p *picture) placeholder(s *setter, c layout.Canvas, h Placeholder, bg color.NRGBA) {
	ground := mix(bg, on(bg), 0.075)
	r := rectangle(h.Tile)
	p.fill(r, ground)
	px := 1.15 * letter(c, h.Tile)
	tile := boxOf(r)
	width := tile.w() - 2*padX*px
	var lines []line
	var inks []color.NRGBA
	add := func(text string, w weight, size float64, ink color.NRGBA) {
		if strings.TrimSpace(text) == "" {
			return
		}
		t := s.fit(text, w, size, size*shrink, width)
		if len(t.runs) > 0 && stack(lines)+t.height() <= tile.h()*0.9 {
			lines, inks = append(lines, t), append(inks, ink)
		}
	}
	add(h.Name, medium, px, on(ground))
	add(h.Part, regular, px*partSize, quietColour(ground))
	add(h.Note, regular, px*partSize*0.9, quietColour(ground))

	// The marks and the text are centred together; marks too small to be
	// read as such are left out.
	text := stack(lines)
	staff := min(tile.h()*0.2, tile.w()*0.16, tile.h()*0.9-text-px)
	y := tile.y0 + (tile.h()-text)/2
	if staff >= 0.8*px {
		y = tile.y0 + (tile.h()-text-staff-0.9*px)/2
		p.staff(box{tile.x0 + tile.w()*0.3, y, tile.x1 - tile.w()*0.3, y + staff}, h, ground, r)
		y += staff + 0.9*px
	}
	for i, t := range lines {
		p.write(t, tile.x0+(tile.w()-t.width)/2, y+t.ascent, inks[i], r)
		y += t.height()
	}
}

// staff draws five lines across b and five lozenges on or between them.
func (p *picture) staff(b box, h Placeholder, ground color.NRGBA, clip image.Rectangle) {
	gap := b.h() / 4
	thick := max(b.h()*0.022, 0.5)
	for i := range 5 {
		y := b.y0 + float64(i)*gap
		p.rect(box{b.x0, y - thick/2, b.x1, y + thick/2}, mix(ground, on(ground), 0.22))
	}
	// The name decides the melody and not chance: the same player has the same one in
	// every film.
	hash := fnv.New64a()
	hash.Write([]byte(h.Name + "\x00" + h.Part)) // never fails
	bits := hash.Sum64()
	const notes = 5
	step := b.w() / notes
	place := 4 + int(bits%3) - 1 // half gaps from the top line
	for i := range notes {
		bits /= 5
		if i > 0 {
			place = max(1, min(7, place+int(bits%5)-2)) // steps of a melody, not jumps
		}
		x := b.x0 + (float64(i)+0.5)*step
		p.lozenge(x, b.y0+float64(place)*gap/2, gap*1.15, gap*1.15, max(thick*1.8, 1), h.Expected, clip,
			mix(ground, on(ground), 0.55))
	}
}
