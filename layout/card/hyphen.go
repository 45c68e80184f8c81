package card

import (
	"unicode"

	"github.com/go-text/typesetting/font"
	"github.com/go-text/typesetting/shaping"
)

// The hyphen of the Go fonts on the key of that name is a sign for less than nothing, as
// wide as a dash. The one for the end of a line is a hyphen, which shaping leaves out
// elsewhere.
const (
	keyHyphen  = '-'
	softHyphen = '\u00ad'
)

// HasHyphen reports whether a text has a hyphen in a word.
func HasHyphen(text string) bool {
	runes := []rune(text)
	for i := range runes {
		if isHyphen(runes, i) {
			return true
		}
	}
	return false
}

// isHyphen reports whether a character stands between two letters and joins them.
func isHyphen(runes []rune, i int) bool {
	return runes[i] == keyHyphen && i > 0 && i+1 < len(runes) && unicode.IsLetter(runes[i-1]) &&
		unicode.IsLetter(runes[i+1])
}

// hyphenate gives words in a run of an embedded face their hyphens.
func hyphenate(run *shaping.Output, runes []rune, face *font.Face) {
	if run.Face != face {
		return
	}
	soft, ok := face.NominalGlyph(softHyphen)
	if !ok {
		return
	}
	next := run.FromFontUnit(face.HorizontalAdvance(soft))
	for i := range run.Glyphs {
		g := &run.Glyphs[i]
		if at := g.TextIndex(); at >= len(runes) || !isHyphen(runes, at) {
			continue
		}
		run.Advance += next - g.Advance
		g.GlyphID, g.Advance = soft, next
	}
}
