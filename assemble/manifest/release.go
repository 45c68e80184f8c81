package manifest

import (
	"fmt"
	"maps"
	"ripieno/assemble/production"
	"ripieno/layout/shot"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"ripieno/assemble/fault"
)

// release reads a release; def when it is absent or faulty.
func (m mapping) release(def production.Release) production.Release {
	return choose(m, "release", def)
}

// checkHidden refuses texts of the film, and of pages for all, that say a name
// which its owner wants hidden: a chapter called after the soloist undoes what the
// label does, and so does the name of the take, which becomes part of file names.
func (m mapping) checkHidden(p *production.Production, entries []mapping) {
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
func (m mapping) publicTexts(p *production.Production) []publicText {
	var all []publicText
	add := func(mark fault.Mark, what, text string) {
		all = append(all, publicText{what, text, plainWords(text), mark})
	}
	for _, top := range []struct{ key, text string }{{"title", p.Title}, {"composer", p.Composer},
		{"ensemble", p.Ensemble}, {"dedication", p.Dedication}, {"arranger", p.Arranger}, {"lyricist", p.Lyricist},
		{"conductor", p.Conductor}, {"occasion", p.Occasion}} {
		if v := m.vals[top.key]; v != nil {
			add(markOf(m.file, v), top.key, top.text)
		}
	}
	for _, c := range p.Credits {
		add(c.Mark, "the credit", c.Role+": "+c.Name)
	}
	for _, v := range p.Guide.Variants {
		add(v.Mark, "the variant", asWords(v.Name))
	}
	for _, s := range p.Shots {
		if s.Show == shot.Card {
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
		add(d.Mark, "deliverable", asWords(d.Name))
	}
	// The part of a take that is withheld is in nothing that is made.
	for _, t := range p.Takes {
		if !t.IsWithheld() {
			add(t.Mark, "the part", t.Part)
		}
	}
	// contact and send_to are left out: the editor prints them on purpose.
	if v := m.vals["callsheet"]; v != nil {
		add(markOf(m.file, v), "the call sheet's note", p.CallSheet.Notes)
		for _, key := range slices.Sorted(maps.Keys(p.CallSheet.Strings)) {
			add(markOf(m.file, v), "the call sheet's "+key, p.CallSheet.Strings[key])
		}
	}
	return all
}

// asWords returns a name that becomes a file name as the words it is made of.
func asWords(name string) string {
	return strings.NewReplacer("-", " ", "_", " ", ".", " ").Replace(name)
}

// plainWords returns a text without capitals and with single spaces.
func plainWords(text string) string { return strings.Join(strings.Fields(production.Fold(text)), " ") }

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

// letter reports whether a rune belongs to a word. What a broken text decodes to
// does not.
func letter(r rune) bool { return r != utf8.RuneError && (unicode.IsLetter(r) || unicode.IsNumber(r)) }
