// Package card draws what stands on the canvas and is not a player's picture:
// name labels, placeholders for players without a picture, title and credits,
// and the printed plan of a grid.
//
// Text is shaped (kerning, ligatures, combining marks, right-to-left runs) and
// rasterised here from embedded open fonts; nothing is handed to a program
// that could interpret it. A character no font can draw is an error before
// anything is drawn, never a box in the picture.
//
// Pictures are straight-alpha sRGB (image.NRGBA), the origin at the top left.
// Lengths are fractions of the canvas's short side, so a 270-line rough cut is
// the same picture as the 2160-line film, only smaller. The same input gives
// the same pixels.
//
// What is not here: where tiles stand (package layout), which shot shows whom
// (package shot), files and encoders.
package card

import (
	"errors"
	"fmt"
	"image"
	"image/color"
	"math"
	"strings"
	"unicode"
	"unicode/utf8"

	"ripieno/layout"
)

// MissingError says that a text holds characters that cannot be drawn.
type MissingError struct {
	Text  string
	Runes []rune // each once, in the order of the text
}

// Error lists the characters with their code points.
func (e *MissingError) Error() string {
	return fmt.Sprintf("no font can draw %q: %s", e.Text, Spell(e.Runes))
}

// Spell lists characters with their code points, for people: "אב" is
// "א (U+05D0), ב (U+05D1)". Those that are not seen have the code point alone.
func Spell(runes []rune) string {
	var b strings.Builder
	for i, r := range runes {
		if i > 0 {
			b.WriteString(", ")
		}
		if unicode.IsPrint(r) {
			fmt.Fprintf(&b, "%c (U+%04X)", r, r)
		} else {
			fmt.Fprintf(&b, "U+%04X", r)
		}
	}
	return b.String()
}

// RectError says that a tile does not lie on the canvas.
type RectError struct {
	Rect   layout.Rect
	Canvas layout.Canvas
}

// Error names the tile and the canvas.
func (e *RectError) Error() string {
	return fmt.Sprintf("tile %dx%d at %d,%d is not on a canvas of %v", e.Rect.W, e.Rect.H, e.Rect.X, e.Rect.Y, e.Canvas)
}

// Refused returns every character of text that is not drawn whatever the font has:
// controls, bytes that are not UTF-8, and the invisible characters that change
// the order of the text around them (a name could hide another name). Joiners,
// the soft hyphen and direction marks stay, names in many scripts need them.
func Refused(text string) []rune {
	var out []rune
	for i, r := range text {
		switch {
		case r == utf8.RuneError:
			if _, n := utf8.DecodeRuneInString(text[i:]); n > 1 {
				continue // a real U+FFFD is the font's business
			}
		case r == 0x00AD || r == 0x200C || r == 0x200D || r == 0x200E || r == 0x200F:
			continue
		case !unicode.Is(unicode.C, r) && !unicode.Is(unicode.Zl, r) && !unicode.Is(unicode.Zp, r):
			continue
		case unicode.Is(unicode.Co, r):
			continue // private use: the user's font may have it
		}
		out = append(out, r)
	}
	return out
}

// Contrast returns the WCAG 2 contrast ratio of two opaque colours, 1 to 21; alpha
// is ignored. 4.5 and more is level AA for ordinary text (WCAG 2.1 success
// criterion 1.4.3).
func Contrast(a, b color.NRGBA) float64 {
	la, lb := luminance(a), luminance(b)
	return (max(la, lb) + 0.05) / (min(la, lb) + 0.05)
}

// luminance returns WCAG's relative luminance, 0 to 1.
func luminance(c color.NRGBA) float64 {
	return 0.2126*linear[c.R] + 0.7152*linear[c.G] + 0.0722*linear[c.B]
}

// linear is the light of every sRGB code value, 0 to 1.
var linear = func() (t [256]float64) {
	for v := range t {
		x := float64(v) / 255
		if x <= 0.03928 { // WCAG 2.1's threshold; IEC 61966-2-1 has 0.04045, no 8-bit value lies between
			t[v] = x / 12.92
		} else {
			t[v] = math.Pow((x+0.055)/1.055, 2.4)
		}
	}
	return t
}()

// mix returns a where t is 0 and b where t is 1, opaque.
func mix(a, b color.NRGBA, t float64) color.NRGBA {
	f := func(x, y uint8) uint8 { return uint8(math.Round(float64(x) + (float64(y)-float64(x))*t)) }
	return color.NRGBA{f(a.R, b.R), f(a.G, b.G), f(a.B, b.B), 255}
}

// aa is the level AA contrast for text of any size.
const aa = 4.5

var (
	white = color.NRGBA{255, 255, 255, 255}
	paper = color.NRGBA{0xf4, 0xf2, 0xec, 255} // a white that does not glare on a dark film
	ink   = color.NRGBA{0x14, 0x16, 0x1a, 255}
	black = color.NRGBA{0, 0, 0, 255}
)

// on picks the text colour for a background: warm white or near black,
// whichever contrasts more. One of pure white and black always reaches 4.58,
// so those are the fallback for mid greys.
func on(bg color.NRGBA) color.NRGBA {
	for _, pair := range [][2]color.NRGBA{{paper, ink}, {white, black}} {
		best := pair[0]
		if Contrast(pair[1], bg) > Contrast(best, bg) {
			best = pair[1]
		}
		if Contrast(best, bg) >= aa || pair[0] == white {
			return best
		}
	}
	return white
}

// quietColour returns a less prominent text colour that still reaches AA on bg.
func quietColour(bg color.NRGBA) color.NRGBA {
	full := on(bg)
	for t := 0.34; t > 0; t -= 0.02 {
		if c := mix(full, bg, t); Contrast(c, bg) >= aa {
			return c
		}
	}
	return full
}

// headingInk returns a colour between on and quiet, and reaches AA on bg.
func headingInk(bg color.NRGBA) color.NRGBA {
	if c := mix(bg, on(bg), 0.8); Contrast(c, bg) >= aa {
		return c
	}
	return quietColour(bg)
}

// rectangle turns a tile into image coordinates.
func rectangle(r layout.Rect) image.Rectangle {
	return image.Rect(r.X, r.Y, r.Right(), r.Bottom())
}

// checkTiles reports tiles that are not on the canvas.
func checkTiles(c layout.Canvas, tiles ...layout.Rect) error {
	var errs []error
	for _, t := range tiles {
		if !t.Inside(c) {
			errs = append(errs, &RectError{t, c})
		}
	}
	return errors.Join(errs...)
}
