package plan

import (
	"fmt"
	"image"
	"image/color"
	"strconv"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/shot"
)

// Texts of a card shot that stand for something else.
const (
	textTitle      = "title"
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

// Cards is what stands on the cards of a film, and the colour behind it.
type Cards struct {
	Background color.NRGBA // behind and between the tiles, too
	Title      string
	Composer   string
	Ensemble   string
	Dedication string
	Roster     []card.Credit // everybody who is listed
}

// newCards takes over what the manifest says. It has checked the colour's form.
func newCards(p *production.Production) Cards {
	return Cards{
		Background: Colour(p.Picture.Background), Title: p.Title, Composer: p.Composer, Ensemble: p.Ensemble, Dedication: p.Dedication,
		Roster: roster(p),
	}
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
	text := []string{s.Text, k.Title, k.Composer, k.Ensemble, k.Dedication}
	if s.Text == textCredits {
		for _, c := range k.Roster {
			text = append(text, c.Section, c.Part, c.Name)
		}
	}
	return text
}

// Pages draws a card shot for a canvas: the title, the roster, or free
// text. There is at least one page.
func (k Cards) Pages(l Look, s Shot, c layout.Canvas) ([]*image.NRGBA, error) {
	switch s.Text {
	case textCredits:
		return card.Credits(c, k.credits(l, c))
	case textTitle:
		var lines []string
		for _, l := range []string{k.Composer, k.Ensemble, k.Dedication} {
			if l != "" {
				lines = append(lines, l)
			}
		}
		return one(card.Title(c, card.TitleOptions{Background: k.Background, Title: k.Title, Lines: lines, Fonts: l.Fonts, Backdrop: l.backdrop(c)}))
	}
	text := s.Text
	if text == textDedication {
		text = k.Dedication
	}
	title, rest, _ := strings.Cut(text, "\n")
	var lines []string
	if rest != "" {
		lines = strings.Split(rest, "\n")
	}
	return one(card.Title(c, card.TitleOptions{Background: k.Background, Title: title, Lines: lines, Fonts: l.Fonts, Backdrop: l.backdrop(c)}))
}

func one(img *image.NRGBA, err error) ([]*image.NRGBA, error) { return []*image.NRGBA{img}, err }

// roster returns everybody who is listed, all but those who are not to be heard:
// section by section in the order in which the seats come to them, each in
// seat order, so that a section whose seats are apart has one heading.
func roster(p *production.Production) []card.Credit {
	var sections []string
	of := map[string][]card.Credit{}
	for _, t := range p.Takes {
		if t.Release == production.ReleaseNo {
			continue
		}
		if _, met := of[t.Section]; !met {
			sections = append(sections, t.Section)
		}
		of[t.Section] = append(of[t.Section], card.Credit{Section: t.Section, Part: t.Part, Name: t.PublicName()})
	}
	var list []card.Credit
	for _, s := range sections {
		list = append(list, of[s]...)
	}
	return list
}

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
				list.Add(fault.At(fault.Manifest, mark, fmt.Sprintf("%s %q has characters that are never drawn: %s", what, text, card.Spell(never)),
					"delete them; they are invisible, or change the order of the text round them"))
			} else if missing := l.Fonts.Missing(line); len(missing) > 0 {
				list.Add(fault.At(fault.Manifest, mark, fmt.Sprintf("%s %q has characters that no font here can draw: %s", what, text, card.Spell(missing)),
					fontHint(p)))
			}
		}
	}
	top := fault.Mark{File: p.Path, Line: 1}
	check(top, "title", p.Title)
	check(top, "composer", p.Composer)
	check(top, "ensemble", p.Ensemble)
	check(top, "dedication", p.Dedication)
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
		return fmt.Sprintf("%q has no outlines of them; add a font file that does to picture: {font: [%s, ...]}", p.Picture.Fonts[n-1].Path, p.Picture.Fonts[0].Path)
	}
	return "copy a font file that has them into this folder and name it, for example picture: {font: fonts/letters.ttf}"
}
