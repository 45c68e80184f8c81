package manifest

import (
	"fmt"
	"strings"
	"unicode"
	"unicode/utf8"

	"ripieno/assemble/fault"
)

// Release is what a player, or the guardian of a minor, has agreed to have
// published.
type Release string

// The releases. ReleaseMissing is a take of which nothing is written down.
const (
	ReleaseMissing   Release = ""
	ReleaseYes       Release = "yes"        // face, sound and name
	ReleaseAudioOnly Release = "audio-only" // sound and name: the picture goes into nothing that is made
	ReleaseNo        Release = "no"         // nothing: neither picture nor sound nor name goes into anything that is made
)

// Word returns the release in a word: "missing" when nothing is written down.
func (r Release) Word() string {
	if r == ReleaseMissing {
		return "missing"
	}
	return string(r)
}

// ShowsPicture tells whether the take's picture may be opened to make
// something of it. A missing release does not forbid it: rough cuts are made
// before the answers are in.
func (t Take) ShowsPicture() bool {
	return t.Release == ReleaseYes || t.Release == ReleaseMissing
}

// PublicName is the player's name as films and pages for all to read show it:
// "" where the player wants it hidden or has agreed to nothing.
func (t Take) PublicName() string {
	if t.HideName || t.Release == ReleaseNo {
		return ""
	}
	return t.Player
}

// release reads a release; def when it is absent or faulty.
func (m mapping) release(def Release) Release {
	return Release(m.choice("release", string(def), string(ReleaseYes), string(ReleaseNo), string(ReleaseAudioOnly)))
}

// checkHidden refuses texts of the film that say a name which its owner wants
// hidden: a chapter called after the soloist undoes what the label does.
func (m mapping) checkHidden(p *Production) {
	var texts []publicText
	for _, t := range p.Takes {
		name := plainWords(t.Player)
		if name == "" || t.PublicName() != "" {
			continue
		}
		if texts == nil {
			texts = m.publicTexts(p)
		}
		for _, x := range texts {
			if saysName(x.plain, name) {
				m.faults.Add(fault.At(fault.Manifest, x.mark,
					fmt.Sprintf("%s %q names the player of take %q, whose name is not to be shown", x.what, clip(x.text), t.Name),
					"write the part instead of the name"))
			}
		}
	}
}

// publicText is a text that is seen in a film or beside it.
type publicText struct {
	what, text string
	plain      string // as plainWords gives it
	mark       fault.Mark
}

func (m mapping) publicTexts(p *Production) []publicText {
	var all []publicText
	add := func(mark fault.Mark, what, text string) {
		all = append(all, publicText{what, text, plainWords(text), mark})
	}
	for _, top := range []struct{ key, text string }{{"title", p.Title}, {"composer", p.Composer}, {"ensemble", p.Ensemble}, {"dedication", p.Dedication}} {
		if v := m.vals[top.key]; v != nil {
			add(markOf(m.file, v), top.key, top.text)
		}
	}
	for _, s := range p.Shots {
		if s.Show == "card" {
			add(s.Mark, "the card", s.Text)
		}
	}
	for _, c := range p.Chapters {
		add(c.Mark, "the chapter", c.Name)
	}
	for _, n := range p.Notes {
		add(n.Mark, "the note", n.Text)
	}
	return all
}

// plainWords is a text without capitals and with single spaces.
func plainWords(text string) string { return strings.Join(strings.Fields(fold(text)), " ") }

// saysName tells whether a text has a name in it as whole words; both are as
// plainWords gives them.
func saysName(text, name string) bool {
	for at := 0; ; {
		i := strings.Index(text[at:], name)
		if i < 0 {
			return false
		}
		from, to := at+i, at+i+len(name)
		before, _ := utf8.DecodeLastRuneInString(text[:from])
		after, _ := utf8.DecodeRuneInString(text[to:])
		if !letter(before) && !letter(after) {
			return true
		}
		at = to
	}
}

func letter(r rune) bool { return r != utf8.RuneError && (unicode.IsLetter(r) || unicode.IsNumber(r)) }
