package manifest

import (
	"ripieno/assemble/production"
	"slices"

	"ripieno/mix/tempo"
)

// chapters reads the places a viewer can jump to and sorts them. Two at the same time
// are kept in the order of the file: which is right cannot be known here.
func (m mapping) chapters(music *tempo.Map) []production.Chapter {
	var all []production.Chapter
	for _, e := range m.entries("chapters", chapterShape) {
		c := production.Chapter{Mark: markOf(m.file, e.node)}
		if e.need("name", "for example "+chapterShape.example) {
			c.Name = e.text("name", "Theme")
		}
		ok := false
		if e.need("at", "start, or for example m33") {
			c.At, ok = e.moment("at", music)
		}
		if !ok {
			continue
		}
		if c.At.Edge == production.FilmEnd {
			e.at(e.vals["at"], "give a time before the end", "a chapter cannot begin at the end")
			continue
		}
		all = append(all, c)
	}
	slices.SortStableFunc(all, func(a, b production.Chapter) int { return production.CompareTimes(a.At, b.At) })
	return all
}

// notes reads the programme notes and sorts them. They may overlap, as
// WebVTT and SRT allow.
func (m mapping) notes(music *tempo.Map) []production.Note {
	var all []production.Note
	for _, e := range m.entries("notes", noteShape) {
		n := production.Note{Mark: markOf(m.file, e.node)}
		if e.need("text", "for example "+noteShape.example) {
			n.Text = e.textUpTo("text", "The lamps are lit", maxCard, true)
		}
		begins, ends := false, false
		if e.need("from", "start, or for example m33") {
			n.From, begins = e.moment("from", music)
		}
		if e.need("to", "end, or for example m41") {
			n.To, ends = e.moment("to", music)
		}
		switch {
		case !begins || !ends:
			continue
		case !n.From.Before(n.To):
			e.at(e.vals["to"], "from must come before to", "the note ends at %q, which is not after its beginning %q",
				n.To.Text, n.From.Text)
			continue
		}
		all = append(all, n)
	}
	slices.SortStableFunc(all, func(a, b production.Note) int { return production.CompareTimes(a.From, b.From) })
	return all
}
