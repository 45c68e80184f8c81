package card

import (
	"slices"
	"strings"

	"github.com/go-text/typesetting/bidi"
	"github.com/go-text/typesetting/di"
	"github.com/go-text/typesetting/font"
	"github.com/go-text/typesetting/language"
	"github.com/go-text/typesetting/segmenter"
	"github.com/go-text/typesetting/shaping"
	"golang.org/x/image/math/fixed"
)

// line is one line of shaped text, ready to be drawn at any baseline.
type line struct {
	text    string
	weight  weight
	runs    []shaping.Output // from left to right
	px      float64          // size of the em
	width   float64          // pixels, from the first origin to the last advance
	ascent  float64          // pixels above the baseline, of the font or the ink, whichever is more
	descent float64          // pixels below the baseline
	missing []rune           // characters that cannot be drawn
}

// height returns how many pixels the line needs, from its highest to its lowest.
func (l line) height() float64 { return l.ascent + l.descent }

// em is the size all text is shaped at. The shaper rounds sizes up to whole
// pixels; shaping large and scaling down keeps every size exact, all sizes of
// a text alike, and shaping a matter of once.
const em = 1024

// pixels turns a length of a shaped run into pixels.
func (l line) pixels(v fixed.Int26_6) float64 { return float64(v) / 64 * l.px / em }

// setter shapes text for one picture. It is not safe for concurrent use.
type setter struct {
	faces   [weights][]*font.Face
	shaper  shaping.HarfbuzzShaper
	split   shaping.Segmenter
	order   bidi.Paragraph
	breaks  segmenter.Segmenter
	shaped  map[setting]line // what was shaped already; fitting asks again and again
	refusal []error          // texts that could not be set, for one joined error
	seen    map[string]bool
}

// setting is what shaping depends on; the size is not part of it.
type setting struct {
	text string
	weight
}

// newSetter returns a setter of text in some fonts.
func newSetter(f *Fonts) *setter {
	s := &setter{shaped: map[setting]line{}, seen: map[string]bool{}}
	for w := range s.faces {
		s.faces[w] = f.faces(weight(w))
	}
	return s
}

// fallback picks the first face that has a character; the first of all when
// none has, which then shows as glyph 0 and is reported.
type fallback []*font.Face

// ResolveFace returns the face to draw a character with.
func (f fallback) ResolveFace(r rune) *font.Face {
	for _, face := range f {
		if _, ok := face.NominalGlyph(r); ok {
			return face
		}
	}
	return f[0]
}

// set returns text at px pixels to the em. The paragraph's direction is that of its
// first strong character (UAX 9, rules P2 and P3).
func (s *setter) set(text string, w weight, px float64) line {
	key := setting{text, w}
	l, ok := s.shaped[key]
	if !ok {
		l = s.shape(text, w)
		s.shaped[key] = l
	}
	l.px, l.width, l.ascent, l.descent = px, l.width*px, l.ascent*px, l.descent*px
	return l
}

// shape returns a line whose em is one pixel.
func (s *setter) shape(text string, w weight) (l line) {
	l = line{text: text, weight: w, px: 1, missing: unique(Refused(text))}
	extents, _ := s.faces[w][0].FontHExtents()
	unit := 1 / float64(s.faces[w][0].Upem())
	l.ascent, l.descent = float64(extents.Ascender)*unit, -float64(extents.Descender)*unit
	runes := []rune(text)
	if len(l.missing) > 0 || len(runes) == 0 {
		return l
	}
	if len(s.faces[w]) > 1 {
		// A broken font from outside can end the shaper with a panic. Then
		// nothing can draw this text, which is what the user is told.
		whole := l
		defer func() {
			if recover() != nil {
				l = whole
				l.missing = unique(runes)
			}
		}()
	}
	levels, base := s.levels(runes)
	inputs := s.split.Split(shaping.Input{
		Text: runes, RunEnd: len(runes), Direction: base,
		Size: fixed.I(em), Language: language.NewLanguage("en"),
	}, fallback(s.faces[w]))
	for _, in := range inputs {
		run := s.shaper.Shape(in)
		if w != display { // whose hyphen is one
			hyphenate(&run, runes, s.faces[w][0])
		}
		l.runs = append(l.runs, run)
	}
	l.runs = visual(l.runs, levels)
	undrawn := make([]bool, len(runes))
	for _, run := range l.runs {
		l.width += l.pixels(run.Advance)
		l.ascent = max(l.ascent, l.pixels(run.GlyphBounds.Ascent))
		l.descent = max(l.descent, -l.pixels(run.GlyphBounds.Descent))
		for _, g := range run.Glyphs {
			if !drawable(run.Face, g.GlyphID) {
				for i := range g.RunesCount() {
					undrawn[g.TextIndex()+i] = true
				}
			}
		}
	}
	for i, r := range runes {
		if undrawn[i] {
			l.missing = append(l.missing, r)
		}
	}
	l.missing = unique(l.missing)
	return l
}

// drawable reports whether a glyph will show: it is not glyph 0, .notdef in
// every OpenType font, and has an outline, if an empty one. Glyphs that are
// only bitmaps or SVG, as in most emoji fonts, are not drawn by this package.
func drawable(face *font.Face, id font.GID) bool {
	if id == font.EmptyGlyph { // invisible by intention
		return true
	}
	_, outline := face.GlyphDataOutline(id)
	return id != 0 && outline
}

// levels returns the embedding level of every character and the direction of the
// paragraph (UAX 9). A space at the end of a line takes the paragraph's level
// (rule L1), so one is added to ask for it.
func (s *setter) levels(runes []rune) ([]bidi.Level, di.Direction) {
	levels := make([]bidi.Level, len(runes)+1)
	runs := s.order.Segment(append(slices.Clone(runes), ' '), bidi.Neutral)
	for i := range runs.NumRuns() {
		r := runs.Run(i)
		for k := r.Start; k < r.End; k++ {
			levels[k] = r.Level
		}
	}
	base := di.DirectionLTR
	if levels[len(runes)]%2 != 0 {
		base = di.DirectionRTL
	}
	return levels[:len(runes)], base
}

// visual puts runs in logical order into the order they are seen from the
// left: from the highest level down to the lowest odd one, every stretch of
// that level or higher is reversed (UAX 9, rule L2).
func visual(runs []shaping.Output, levels []bidi.Level) []shaping.Output {
	level := func(r shaping.Output) bidi.Level { return levels[r.Runes.Offset] }
	var highest bidi.Level
	for _, r := range runs {
		highest = max(highest, level(r))
	}
	for at := highest; at > 0; at-- {
		for i := 0; i < len(runs); i++ {
			k := i
			for k < len(runs) && level(runs[k]) >= at {
				k++
			}
			slices.Reverse(runs[i:max(i, k)])
			i = max(i, k)
		}
	}
	return runs
}

// unique keeps the first of every rune.
func unique(in []rune) []rune {
	var out []rune
	for _, r := range in {
		if !slices.Contains(out, r) {
			out = append(out, r)
		}
	}
	return out
}

// check remembers the refusal of a text once.
func (s *setter) check(l line) {
	if len(l.missing) > 0 && !s.seen[l.text] {
		s.seen[l.text] = true
		s.refusal = append(s.refusal, &MissingError{l.text, l.missing})
	}
}

// fit sets text no wider than width: it shrinks from px towards least, then
// cuts whole characters at the end and adds an ellipsis. The result is empty
// when not even the ellipsis fits.
func (s *setter) fit(text string, w weight, px, least, width float64) line {
	text = strings.TrimSpace(text)
	l := s.set(text, w, px)
	s.check(l)
	if l.width <= width || len(l.missing) > 0 {
		return l
	}
	// A hair below, so that rounding does not undo it.
	if l = s.set(text, w, max(least, px*width/l.width*0.9999)); l.width <= width {
		return l
	}
	return s.cut(text, w, l.px, width)
}

const ellipsis = "…"

// cut keeps as many whole characters (grapheme clusters, UAX 29) from the
// beginning of text as fit before an ellipsis.
func (s *setter) cut(text string, w weight, px, width float64) line {
	s.breaks.Init([]rune(text))
	ends := []int{0}
	for it := s.breaks.GraphemeIterator(); it.Next(); {
		g := it.Grapheme()
		ends = append(ends, g.OffsetInBytes+g.LengthInBytes)
	}
	// Width grows with the number of characters but for kerning, so the
	// search may end one short of the best; it never ends too wide.
	lo, hi := 0, len(ends)-1
	var best line
	for lo < hi {
		mid := (lo + hi) / 2
		l := s.set(strings.TrimRight(text[:ends[mid]], " ")+ellipsis, w, px)
		if l.width <= width {
			best, lo = l, mid+1
		} else {
			hi = mid
		}
	}
	if best.text == "" {
		best = s.set("", w, px)
	}
	return best
}

// wrap breaks text into lines no wider than width where UAX 14 allows a
// break; a newline is a break. A word wider than width is fitted by cutting.
func (s *setter) wrap(text string, w weight, px, width float64) []line {
	var out []line
	for paragraph := range strings.SplitSeq(strings.TrimSpace(text), "\n") {
		paragraph = strings.TrimSpace(paragraph)
		if l := s.set(paragraph, w, px); l.width <= width || len(l.missing) > 0 {
			s.check(l)
			out = append(out, l)
			continue
		}
		s.breaks.Init([]rune(paragraph))
		var pieces []string
		for it := s.breaks.LineIterator(); it.Next(); {
			pieces = append(pieces, string(it.Line().Text))
		}
		current := ""
		for _, piece := range pieces {
			if current != "" && s.set(strings.TrimSpace(current+piece), w, px).width > width {
				out = append(out, s.fit(current, w, px, px, width))
				current = ""
			}
			current += piece
		}
		out = append(out, s.fit(current, w, px, px, width))
	}
	return out
}

// wrapEvenly does what wrap does, with lines of about equal length: the narrowest width,
// in steps of a sixty-fourth, that needs no more lines.
func (s *setter) wrapEvenly(text string, w weight, px, width float64) []line {
	best := s.wrap(text, w, px, width)
	lo, hi := 0.4, 1.0
	for range 6 {
		if len(best) < 2 {
			break
		}
		mid := (lo + hi) / 2
		narrow := s.wrap(text, w, px, width*mid)
		if len(narrow) <= len(best) && !slices.ContainsFunc(narrow,
			func(l line) bool { return strings.HasSuffix(l.text, ellipsis) }) {
			best, hi = narrow, mid
		} else {
			lo = mid
		}
	}
	return best
}
