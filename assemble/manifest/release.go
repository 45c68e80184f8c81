package manifest

import (
	"fmt"
	"maps"
	"slices"
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
	// nothing: neither picture nor sound nor name goes into anything that is made
	ReleaseNo Release = "no"
)

// Word returns the release in a word: "missing" when nothing is written down.
func (r Release) Word() string {
	if r == ReleaseMissing {
		return "missing"
	}
	return string(r)
}

// ShowsPicture reports whether the take's picture may be opened to make
// something of it. A missing release does not forbid it: rough cuts are made
// before the answers are in.
func (t Take) ShowsPicture() bool {
	return t.Release == ReleaseYes || t.Release == ReleaseMissing
}

// IsWithheld reports whether nothing of the take may go into anything that is
// made, so that its files are not even opened.
func (t Take) IsWithheld() bool { return t.Release == ReleaseNo }

// PublicName returns the player's name as films and pages for all to read show it:
// "" where the player wants it hidden or has agreed to nothing.
func (t Take) PublicName() string {
	if t.HideName || t.Release == ReleaseNo {
		return ""
	}
	return t.Player
}

// leastTelling is the shortest word that says who somebody is, in bytes: two
// letters of an alphabet are an initial or a particle, one character of Chinese
// is a name.
const leastTelling = 3

// TellsName reports whether the name of a file or of a take says who the player
// is: a word of their name, as in "mara-2.mov", or the whole of it in one word.
// Words that the part and the section have as well tell nothing.
func (t Take) TellsName(of string) bool {
	words := func(text string) []string {
		return strings.FieldsFunc(fold(text), func(r rune) bool { return !unicode.IsLetter(r) })
	}
	known := append(words(t.Part), words(t.Section)...)
	name, file := words(t.Player), words(of)
	for _, w := range name {
		if len(w) >= leastTelling && slices.Contains(file, w) && !slices.Contains(known, w) {
			return true
		}
	}
	return len(name) > 1 && strings.Contains(strings.Join(file, ""), strings.Join(name, ""))
}

// release reads a release; def when it is absent or faulty.
func (m mapping) release(def Release) Release {
	return Release(m.choice("release", string(def)))
}

// checkHidden refuses texts of the film, and of pages for all, that say a name
// which its owner wants hidden: a chapter called after the soloist undoes what the
// label does, and so does the name of the take, which becomes part of file names.
func (m mapping) checkHidden(p *Production, entries []mapping) {
	var texts []publicText
	for i, t := range p.Takes {
		name := plainWords(t.Player)
		if name == "" || t.PublicName() != "" {
			continue
		}
		if t.HideName && !t.IsWithheld() && t.TellsName(t.Name) {
			m.at(entries[i].vals["name"], "call it after the part: it becomes part of file names and stands on pages",
				"take %q is named after its player, whose name is not to be shown", t.Name)
		}
		if texts == nil {
			texts = m.publicTexts(p)
		}
		for _, x := range texts {
			if saysName(x.plain, name) {
				m.faults.Add(fault.At(fault.Manifest, x.mark,
					fmt.Sprintf("%s %q names the player of take %q, whose name is not to be shown", x.what,
						clip(x.text), t.Name),
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

// publicTexts returns the texts of the production that a viewer may read.
func (m mapping) publicTexts(p *Production) []publicText {
	var all []publicText
	add := func(mark fault.Mark, what, text string) {
		all = append(all, publicText{what, text, plainWords(text), mark})
	}
	for _, top := range []struct{ key, text string }{{"title", p.Title}, {"composer", p.Composer},
		{"ensemble", p.Ensemble}, {"dedication", p.Dedication}} {
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
	for _, s := range p.Sections {
		add(s.Mark, "section", s.Name)
	}
	for _, d := range p.Deliver {
		add(d.Mark, "deliverable", spaced(d.Name))
	}
	for _, t := range p.Takes {
		if !t.IsWithheld() {
			add(t.Mark, "the part", t.Part)
		}
	}
	if v := m.vals["callsheet"]; v != nil {
		add(markOf(m.file, v), "the call sheet's note", p.CallSheet.Notes)
		for _, key := range slices.Sorted(maps.Keys(p.CallSheet.Strings)) {
			add(markOf(m.file, v), "the call sheet's "+key, p.CallSheet.Strings[key])
		}
	}
	return all
}

// spaced returns a name that becomes a file name as the words it is made of.
func spaced(name string) string {
	return strings.NewReplacer("-", " ", "_", " ", ".", " ").Replace(name)
}

// plainWords returns a text without capitals and with single spaces.
func plainWords(text string) string { return strings.Join(strings.Fields(fold(text)), " ") }

// saysName reports whether a text has a name in it as whole words; both are as
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
