package plan

import (
	"fmt"
	"image"
	"image/color"
	"strconv"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/assemble/report/phrase"
	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/shot"
)

// Texts of a card shot that stand for something else. TextTitle is the card with the
// title and whose piece it is.
const (
	TextTitle      = "title"
	textCredits    = "credits"
	textDedication = "dedication"
)

// Colour reads #rrggbb; anything else is black.
func Colour(text string) color.NRGBA {
	v, err := strconv.ParseUint(strings.TrimPrefix(text, "#"), 16, 32)
	if err != nil {
		return color.NRGBA{A: 255}
	}
	return color.NRGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 255}
}

// Look is what drawings are made with besides the manifest: what the files
// hold that it names.
type Look struct {
	Fonts *card.Fonts // nil: the embedded ones
	Logo  image.Image // above the title; nil for none
	// Backdrop gives the background picture in the size of a canvas; nil when
	// the background is a colour.
	Backdrop func(layout.Canvas) *image.NRGBA
}

// backdrop returns Backdrop, or nil.
func (l Look) backdrop(c layout.Canvas) *image.NRGBA {
	if l.Backdrop == nil {
		return nil
	}
	return l.Backdrop(c)
}

// Cards is what stands on the cards of a film, and the colour behind it. All texts
// are in the language of the film and set as it sets them.
type Cards struct {
	Background color.NRGBA // behind and between the tiles, too
	Title      string
	Blocks     []card.TitleBlock // below the title
	Dedication string
	Roster     []card.Credit // everybody who is listed
	Foot       []string      // below them
	words      *phrase.Book
}

// newCards takes over what the manifest says. It has checked the colour's form.
// Takes that are gone are not listed.
func newCards(p *production.Production, gone map[string]bool) Cards {
	w := phrase.Of(p.Language)
	k := Cards{Background: Colour(p.Picture.Background), Title: w.Typeset(p.Title),
		Dedication: w.Typeset(p.Dedication), words: w}
	k.Blocks = titleBlocks(p, w)
	k.Roster, k.Foot = roster(p, w, gone)
	return k
}

// pages counts the pages of a card. Only the credits can have more than one, and
// are drawn to know.
func (k Cards) pages(l Look, s Shot, c layout.Canvas) (int, error) {
	if s.Text != textCredits {
		return 1, nil
	}
	pages, err := k.Pages(l, s, c)
	return len(pages), err
}

// Text returns everything that the drawing of a card shot depends on.
func (k Cards) Text(s Shot) []string {
	text := []string{s.Text, k.Title, k.Dedication}
	for _, b := range k.Blocks {
		text = append(append(append(text, b.Main...), "\n"), b.More...)
	}
	if s.Text == textCredits {
		for _, c := range k.Roster {
			text = append(text, c.Section, c.Part, c.Name)
		}
		text = append(append(text, "\n"), k.Foot...)
	}
	return text
}

// Pages draws a card shot for a canvas: the title, the roster, or free
// text. There is at least one page.
func (k Cards) Pages(l Look, s Shot, c layout.Canvas) ([]*image.NRGBA, error) {
	o := card.TitleOptions{Background: k.Background, Fonts: l.Fonts, Backdrop: l.backdrop(c)}
	switch s.Text {
	case textCredits:
		return card.Credits(c, k.credits(l, c))
	case TextTitle:
		o.Title, o.Blocks, o.Picture = k.Title, k.Blocks, l.Logo
		return one(card.Title(c, o))
	case textDedication:
		o.Title = k.Dedication
	default:
		o.Title = k.words.Typeset(s.Text)
	}
	var rest string
	o.Title, rest, _ = strings.Cut(o.Title, "\n")
	o.Blocks = []card.TitleBlock{{Main: strings.Split(rest, "\n")}}
	return one(card.Title(c, o))
}

func one(img *image.NRGBA, err error) ([]*image.NRGBA, error) { return []*image.NRGBA{img}, err }

// printable reports whether a text has only the printable characters of ASCII.
func printable(s string) bool {
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' {
			return false
		}
	}
	return true
}

// checkText finds every text that no font can draw, before anything is made.
func checkText(p *production.Production, l Look) error {
	var list fault.List
	check := func(mark fault.Mark, what, text string) {
		for line := range strings.SplitSeq(text, "\n") {
			if printable(line) { // every face has these, and setting text takes time
				continue
			}
			if never := card.Refused(line); len(never) > 0 {
				list.Add(fault.At(fault.Manifest, mark, fmt.Sprintf("%s %q has characters that are never drawn: %s",
					what, text, card.Spell(never)),
					"delete them; they are invisible, or change the order of the text round them"))
			} else if missing := l.Fonts.Missing(line); len(missing) > 0 {
				list.Add(fault.At(fault.Manifest, mark,
					fmt.Sprintf("%s %q has characters that no font here can draw: %s", what, text, card.Spell(missing)),
					fontHint(p)))
			}
		}
	}
	top := fault.Mark{File: p.Path, Line: 1}
	check(top, "title", p.Title)
	check(top, "composer", p.Composer)
	check(top, "ensemble", p.Ensemble)
	check(top, "dedication", p.Dedication)
	check(top, "arranger", p.Arranger)
	check(top, "lyricist", p.Lyricist)
	check(top, "conductor", p.Conductor)
	check(top, "occasion", p.Occasion)
	check(top, "date", p.Date)
	for _, c := range p.Credits {
		check(c.Mark, "role", c.Role)
		check(c.Mark, "name", c.Name)
	}
	for _, s := range p.Sections {
		check(s.Mark, "section", s.Name)
	}
	for _, t := range p.Takes {
		if t.IsWithheld() {
			continue // nothing of it is drawn
		}
		check(t.Mark, "take", t.Name)
		check(t.Mark, "player", t.Player)
		check(t.Mark, "part", t.Part)
	}
	for _, s := range p.Shots {
		if s.Show == shot.Card {
			check(s.Mark, "text", s.Text)
		}
	}
	return list.Err()
}

// fontHint says how to get characters drawn.
func fontHint(p *production.Production) string {
	if n := len(p.Picture.Fonts); n > 0 {
		return fmt.Sprintf("%q has no outlines of them; add a font file that does to picture: {font: [%s, ...]}",
			p.Picture.Fonts[n-1].Path, p.Picture.Fonts[0].Path)
	}
	return "copy a font file that has them into this folder and name it, for example picture: {font: fonts/letters.ttf}"
}
