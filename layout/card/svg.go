package card

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
)

// drawing is an SVG under construction: the other surface of a plan.
type drawing struct{ buf bytes.Buffer }

// newDrawing begins a drawing of a size on paper of a colour.
func newDrawing(w, h int, paper color.NRGBA) *drawing {
	d := new(drawing)
	fmt.Fprintf(&d.buf,
		`<svg xmlns="http://www.w3.org/2000/svg" width="%d" height="%d" viewBox="0 0 %d %d" font-family="'Go', 'DejaVu Sans', 'Noto Sans', sans-serif">`+"\n", w, h, w, h)
	d.rect(box{0, 0, float64(w), float64(h)}, paper)
	return d
}

// bytes ends the drawing and returns it.
func (d *drawing) bytes() []byte {
	d.buf.WriteString("</svg>\n")
	return d.buf.Bytes()
}

// hex returns an opaque colour as SVG writes it.
func hex(c color.NRGBA) string { return fmt.Sprintf("#%02x%02x%02x", c.R, c.G, c.B) }

// rect fills a box, to a hundredth of a pixel.
func (d *drawing) rect(b box, c color.NRGBA) {
	fmt.Fprintf(&d.buf, `<rect x="%.2f" y="%.2f" width="%.2f" height="%.2f" fill="%s"/>`+"\n", b.x0, b.y0, b.w(), b.h(),
		hex(c))
}

// frame draws the outline of a box, inside it.
func (d *drawing) frame(b box, thick float64, c color.NRGBA) {
	in := b.inset(thick / 2) // SVG strokes lie half inside, half outside
	fmt.Fprintf(&d.buf,
		`<rect x="%.2f" y="%.2f" width="%.2f" height="%.2f" fill="none" stroke="%s" stroke-width="%.2f"/>`+"\n",
		in.x0, in.y0, max(0, in.w()), max(0, in.h()), hex(c), thick)
}

// hatch fills a box with diagonal lines.
func (d *drawing) hatch(b box, step float64, c color.NRGBA) {
	fmt.Fprintf(&d.buf, `<path fill="none" stroke="%s" stroke-width="%.2f" d="`, hex(c), step*0.17)
	for _, l := range diagonals(b, step) {
		fmt.Fprintf(&d.buf, "M%.2f %.2fL%.2f %.2f", l.x0, l.y0, l.x1, l.y1)
	}
	d.buf.WriteString("\"/>\n")
}

// write puts text down as text. The viewer's font is not ours, so the length
// is prescribed; clip is not needed then.
func (d *drawing) write(l line, x, baseline float64, c color.NRGBA, _ image.Rectangle) {
	if len(l.runs) == 0 {
		return
	}
	heavy := [weights]int{400, 500, 700, 500}[l.weight]
	fmt.Fprintf(&d.buf,
		`<text x="%.2f" y="%.2f" font-size="%.2f" font-weight="%d" fill="%s" textLength="%.2f" lengthAdjust="spacingAndGlyphs" xml:space="preserve">`,
		x, baseline, l.px, heavy, hex(c), l.width)
	xml.EscapeText(&d.buf, []byte(l.text)) // writes to memory, cannot fail
	d.buf.WriteString("</text>\n")
}
