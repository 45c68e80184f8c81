package plan

import (
	"fmt"
	"image"
	"image/color"
	"strconv"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/layout"
	"ripieno/layout/card"
)

// Texts of a card shot that stand for something else.
const (
	textTitle      = "title"
	textCredits    = "credits"
	textDedication = "dedication"
)

// Background is the colour behind and between the tiles. The manifest has
// checked its form.
func Background(p *manifest.Production) color.NRGBA { return Colour(p.Picture.Background) }

// Colour reads #rrggbb; anything else is black.
func Colour(text string) color.NRGBA {
	v, err := strconv.ParseUint(strings.TrimPrefix(text, "#"), 16, 32)
	if err != nil {
		return color.NRGBA{A: 255}
	}
	return color.NRGBA{R: uint8(v >> 16), G: uint8(v >> 8), B: uint8(v), A: 255}
}

// cardPages counts the pages of a card. Only the credits can have more than
// one, and are drawn to know.
func cardPages(p *manifest.Production, s Shot, c layout.Canvas) (int, error) {
	if s.Text != textCredits {
		return 1, nil
	}
	pages, err := CardPages(p, s, c)
	return len(pages), err
}

// NamesPlayers tells whether a card shot's drawing lists the players.
func (s Shot) NamesPlayers() bool { return s.Text == textCredits }

// CardPages draws a card shot for a canvas: the title, the roster, or free
// text. There is at least one page.
func CardPages(p *manifest.Production, s Shot, c layout.Canvas) ([]*image.NRGBA, error) {
	switch s.Text {
	case textCredits:
		return card.Credits(c, card.CreditsOptions{Background: Background(p), Title: p.Title, Credits: roster(p)})
	case textTitle:
		var lines []string
		for _, l := range []string{p.Composer, p.Ensemble, p.Dedication} {
			if l != "" {
				lines = append(lines, l)
			}
		}
		return one(card.Title(c, card.TitleOptions{Background: Background(p), Title: p.Title, Lines: lines}))
	}
	text := s.Text
	if text == textDedication {
		text = p.Dedication
	}
	title, rest, _ := strings.Cut(text, "\n")
	var lines []string
	if rest != "" {
		lines = strings.Split(rest, "\n")
	}
	return one(card.Title(c, card.TitleOptions{Background: Background(p), Title: title, Lines: lines}))
}

func one(img *image.NRGBA, err error) ([]*image.NRGBA, error) { return []*image.NRGBA{img}, err }

// roster is everybody who is listed, in seat order.
func roster(p *manifest.Production) []card.Credit {
	var list []card.Credit
	for _, t := range p.Takes {
		list = append(list, card.Credit{Section: t.Section, Part: t.Part, Name: t.Player})
	}
	return list
}

// printable tells whether a text has only the printable characters of ASCII.
func printable(s string) bool {
	for i := range len(s) {
		if s[i] < ' ' || s[i] > '~' {
			return false
		}
	}
	return true
}

// checkText finds every text that no font can draw, before anything is made.
func checkText(p *manifest.Production) error {
	var list fault.List
	check := func(mark fault.Mark, what, text string) {
		for line := range strings.SplitSeq(text, "\n") {
			if printable(line) { // every face has these, and setting text takes time
				continue
			}
			if missing := card.Missing(line); len(missing) > 0 {
				list.Add(fault.At(fault.Manifest, mark, fmt.Sprintf("%s %q has characters that no font here can draw: %q", what, text, string(missing)),
					"write it in Latin, Greek or Cyrillic letters"))
			}
		}
	}
	top := fault.Mark{File: p.Path, Line: 1}
	check(top, "title", p.Title)
	check(top, "composer", p.Composer)
	check(top, "ensemble", p.Ensemble)
	check(top, "dedication", p.Dedication)
	for _, t := range p.Takes {
		check(t.Mark, "player", t.Player)
		check(t.Mark, "part", t.Part)
	}
	for _, s := range p.Shots {
		if s.Show == "card" {
			check(s.Mark, "text", s.Text)
		}
	}
	return list.Err()
}
