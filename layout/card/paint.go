package card

import (
	"image"
	"image/color"
	"image/draw"
	"math"

	"github.com/go-text/typesetting/font"
	"github.com/go-text/typesetting/font/opentype"
	"golang.org/x/image/vector"
)

// picture is an image under construction. It is for one goroutine: raster and mask
// are used again by every path.
type picture struct {
	*image.NRGBA
	raster vector.Rasterizer
	mask   []uint8 // reused coverage
}

// newPicture returns a w by h picture of one colour.
func newPicture(w, h int, c color.NRGBA) *picture {
	p := &picture{NRGBA: image.NewNRGBA(image.Rect(0, 0, w, h))}
	p.fill(p.Rect, c)
	return p
}

// fill replaces the pixels of r, transparency included.
func (p *picture) fill(r image.Rectangle, c color.NRGBA) {
	r = r.Intersect(p.Rect)
	if r.Empty() {
		return
	}
	// image/draw has no fast way into straight alpha.
	first := p.Pix[p.PixOffset(r.Min.X, r.Min.Y):][:4*r.Dx()]
	for i := 0; i < len(first); i += 4 {
		first[i], first[i+1], first[i+2], first[i+3] = c.R, c.G, c.B, c.A
	}
	for y := r.Min.Y + 1; y < r.Max.Y; y++ {
		copy(p.Pix[p.PixOffset(r.Min.X, y):], first)
	}
}

// box is a rectangle in fractions of a pixel.
type box struct{ x0, y0, x1, y1 float64 }

// boxOf returns a rectangle of whole pixels.
func boxOf(r image.Rectangle) box {
	return box{float64(r.Min.X), float64(r.Min.Y), float64(r.Max.X), float64(r.Max.Y)}
}

// w and h return width and height in pixels.
func (b box) w() float64 { return b.x1 - b.x0 }
func (b box) h() float64 { return b.y1 - b.y0 }

// inset returns the box with every side moved inwards by d pixels, outwards below 0.
func (b box) inset(d float64) box { return box{b.x0 + d, b.y0 + d, b.x1 - d, b.y1 - d} }

// pen draws a path in picture coordinates.
type pen struct {
	*vector.Rasterizer
	dx, dy float64
}

// move, line, quad and cube are the steps of a path, from where it stands: a new
// beginning, a straight line, and Bézier curves of one and two control points.
func (p pen) move(x, y float64) { p.MoveTo(float32(x-p.dx), float32(y-p.dy)) }
func (p pen) line(x, y float64) { p.LineTo(float32(x-p.dx), float32(y-p.dy)) }
func (p pen) quad(a, b, x, y float64) {
	p.QuadTo(float32(a-p.dx), float32(b-p.dy), float32(x-p.dx), float32(y-p.dy))
}
func (p pen) cube(a, b, c, d, x, y float64) {
	p.CubeTo(float32(a-p.dx), float32(b-p.dy), float32(c-p.dx), float32(d-p.dy), float32(x-p.dx), float32(y-p.dy))
}

// ribbon draws a piece of a curve from one point to another, twice half thick and
// no higher or lower than b. Every piece runs the same way round, so that
// overlaps do not cancel.
func (p pen) ribbon(b box, x0, y0, x1, y1, half float64) {
	p.move(x0, max(b.y0, y0-half))
	p.line(x1, max(b.y0, y1-half))
	p.line(x1, min(b.y1, y1+half))
	p.line(x0, min(b.y1, y0+half))
	p.ClosePath()
}

// paint composes colour c over the pixels the path covers, within clip. The
// path must lie inside bounds. Coverage is by area, so edges on fractions of a pixel
// are soft. What lies outside clip costs nothing but its outline.
func (p *picture) paint(bounds box, clip image.Rectangle, c color.NRGBA, path func(pen)) {
	r := image.Rect(int(math.Floor(bounds.x0)), int(math.Floor(bounds.y0)), int(math.Ceil(bounds.x1)),
		int(math.Ceil(bounds.y1)))
	clip = clip.Intersect(p.Rect).Intersect(r)
	if clip.Empty() {
		return
	}
	w, h := r.Dx(), r.Dy()
	if cap(p.mask) < w*h {
		p.mask = make([]uint8, w*h)
	}
	mask := &image.Alpha{Pix: p.mask[:w*h], Stride: w, Rect: image.Rect(0, 0, w, h)}
	p.raster.Reset(w, h)
	p.raster.DrawOp = draw.Src
	path(pen{&p.raster, float64(r.Min.X), float64(r.Min.Y)})
	p.raster.Draw(mask, mask.Rect, image.Opaque, image.Point{})
	for y := clip.Min.Y; y < clip.Max.Y; y++ {
		cover := mask.Pix[(y-r.Min.Y)*w+clip.Min.X-r.Min.X:]
		row := p.Pix[p.PixOffset(clip.Min.X, y):]
		for x := range clip.Dx() {
			if cover[x] != 0 {
				over((*[4]uint8)(row[4*x:]), c, uint32(cover[x]))
			}
		}
	}
}

// over composes c, weakened by coverage 0 to 255, over a straight-alpha pixel. It
// rounds to the nearest in whole numbers, so that it gives the same on every
// processor.
func over(dst *[4]uint8, c color.NRGBA, coverage uint32) {
	const one = 255 * 255
	as := uint32(c.A) * coverage            // of 255²
	ad := uint32(dst[3]) * (one - as) / 255 // what is left of the pixel, of 255²
	ao := as + ad
	if ao == 0 {
		return
	}
	for i, s := range [3]uint8{c.R, c.G, c.B} {
		dst[i] = uint8((uint64(s)*uint64(as) + uint64(dst[i])*uint64(ad) + uint64(ao)/2) / uint64(ao))
	}
	dst[3] = uint8((ao + 127) / 255)
}

// rect paints a rectangle with fractional edges.
func (p *picture) rect(b box, c color.NRGBA) { p.rounded(b, 0, c) }

// rounded paints a rectangle with rounded corners.
func (p *picture) rounded(b box, radius float64, c color.NRGBA) {
	p.paint(b, p.Rect, c, func(n pen) { corners(n, b, radius) })
}

// corners draws the outline of a rounded rectangle, clockwise.
func corners(n pen, b box, r float64) {
	r = max(0, min(r, b.w()/2, b.h()/2))
	n.move(b.x0+r, b.y0)
	n.line(b.x1-r, b.y0)
	n.quad(b.x1, b.y0, b.x1, b.y0+r)
	n.line(b.x1, b.y1-r)
	n.quad(b.x1, b.y1, b.x1-r, b.y1)
	n.line(b.x0+r, b.y1)
	n.quad(b.x0, b.y1, b.x0, b.y1-r)
	n.line(b.x0, b.y0+r)
	n.quad(b.x0, b.y0, b.x0+r, b.y0)
	n.ClosePath()
}

// frame paints the outline of a rectangle inwards, the given pixels thick.
func (p *picture) frame(b box, thick float64, c color.NRGBA) {
	in := b.inset(thick)
	p.paint(b, p.Rect, c, func(n pen) {
		corners(n, b, 0)
		if in.w() <= 0 || in.h() <= 0 {
			return
		}
		// The hole runs the other way round, so its area is taken away.
		n.move(in.x0, in.y0)
		n.line(in.x0, in.y1)
		n.line(in.x1, in.y1)
		n.line(in.x1, in.y0)
		n.ClosePath()
	})
}

// lozenge paints a diamond w by h round a centre; hollow ones are outlines.
func (p *picture) lozenge(x, y, w, h, thick float64, hollow bool, clip image.Rectangle, c color.NRGBA) {
	p.paint(box{x - w/2, y - h/2, x + w/2, y + h/2}, clip, c, func(n pen) {
		diamond(n, x, y, w/2, h/2)
		if k := 1 - thick*2/min(w, h); hollow && k > 0 {
			diamond(n, x, y, -w/2*k, h/2*k) // mirrored: runs the other way round
		}
	})
}

// diamond draws half axes of a and b pixels round a centre; a negative a runs the other
// way round, so that it cuts a hole.
func diamond(n pen, x, y, a, b float64) {
	n.move(x-a, y)
	n.line(x, y-b)
	n.line(x+a, y)
	n.line(x, y+b)
	n.ClosePath()
}

// write paints a line of text with its origin at x on the baseline, within
// clip.
func (p *picture) write(l line, x, baseline float64, c color.NRGBA, clip image.Rectangle) {
	for _, run := range l.runs {
		scale := l.px / float64(run.Face.Upem())
		for _, g := range run.Glyphs {
			gx := x + l.pixels(g.XOffset)
			gy := baseline - l.pixels(g.YOffset)
			p.glyph(run.Face, g.GlyphID, gx, gy, scale, c, clip)
			x += l.pixels(g.Advance)
		}
	}
}

// glyph paints one outline. Outlines are in the font's own units, upwards; scale
// brings them to pixels, downwards.
func (p *picture) glyph(face *font.Face, id font.GID, x, y, scale float64, c color.NRGBA, clip image.Rectangle) {
	outline, ok := face.GlyphDataOutline(id)
	if !ok || len(outline.Segments) == 0 {
		return
	}
	at := func(s opentype.SegmentPoint) (float64, float64) {
		return x + float64(s.X)*scale, y - float64(s.Y)*scale
	}
	b := box{math.Inf(1), math.Inf(1), math.Inf(-1), math.Inf(-1)}
	for _, s := range outline.Segments {
		for _, a := range s.ArgsSlice() {
			px, py := at(a)
			b = box{min(b.x0, px), min(b.y0, py), max(b.x1, px), max(b.y1, py)}
		}
	}
	p.paint(b, clip, c, func(n pen) {
		for _, s := range outline.Segments {
			x0, y0 := at(s.Args[0])
			x1, y1 := at(s.Args[1])
			switch s.Op {
			case opentype.SegmentOpMoveTo:
				n.ClosePath()
				n.move(x0, y0)
			case opentype.SegmentOpLineTo:
				n.line(x0, y0)
			case opentype.SegmentOpQuadTo:
				n.quad(x0, y0, x1, y1)
			case opentype.SegmentOpCubeTo:
				x2, y2 := at(s.Args[2])
				n.cube(x0, y0, x1, y1, x2, y2)
			}
		}
		n.ClosePath()
	})
}

// hatch paints thin diagonal lines over a box. step is the distance of two lines in
// pixels, measured along the lower edge.
func (p *picture) hatch(b box, step float64, c color.NRGBA) {
	thick := step * 0.12
	for _, l := range diagonals(b, step) {
		p.paint(box{l.x0 - thick, l.y1 - thick, l.x1 + thick, l.y0 + thick}, inside(b), c, func(n pen) {
			n.move(l.x0-thick, l.y0)
			n.line(l.x1-thick, l.y1)
			n.line(l.x1+thick, l.y1)
			n.line(l.x0+thick, l.y0)
			n.ClosePath()
		})
	}
}

// diagonals returns the lines of a hatching, from the lower left end (x0, y0) to
// the upper right (x1, y1), cut at the box's sides.
func diagonals(b box, step float64) (lines []box) {
	for d := b.x0 - b.h() + step; d < b.x1; d += step {
		l := box{d, b.y1, d + b.h(), b.y0}
		if l.x0 < b.x0 {
			l.y0, l.x0 = l.y0-(b.x0-l.x0), b.x0
		}
		if l.x1 > b.x1 {
			l.y1, l.x1 = l.y1+(l.x1-b.x1), b.x1
		}
		lines = append(lines, l)
	}
	return lines
}

// inside returns the pixels that touch b.
func inside(b box) image.Rectangle {
	return image.Rect(int(b.x0), int(b.y0), int(b.x1)+1, int(b.y1)+1)
}
