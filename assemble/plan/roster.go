package plan

import (
	"slices"

	"ripieno/assemble/production"
	"ripieno/assemble/report/phrase"
	"ripieno/layout/card"
)

// titleBlocks returns what stands below the title: who wrote the piece, who plays
// it, when and where, and for whom.
func titleBlocks(p *production.Production, w *phrase.Book) []card.TitleBlock {
	more := func(pairs ...[2]string) (lines []string) {
		for _, x := range pairs {
			if x[1] != "" {
				lines = append(lines, w.Say(x[0], "name", w.Typeset(x[1])))
			}
		}
		return lines
	}
	main := func(text string) []string {
		if text == "" {
			return nil
		}
		return []string{w.Typeset(text)}
	}
	when := p.Date
	if !p.Day.IsZero() {
		when = w.Day(p.Day)
	}
	occasion := w.Typeset(p.Occasion)
	if occasion != "" && when != "" {
		occasion += ", "
	}
	all := []card.TitleBlock{
		{Main: main(p.Composer), More: more([2]string{"film.arranged", p.Arranger}, [2]string{"film.words", p.Lyricist})},
		{Main: main(p.Ensemble), More: more([2]string{"film.conducted", p.Conductor})},
		{More: main(occasion + when)},
		{More: main(p.Dedication)},
	}
	return slices.DeleteFunc(all, func(b card.TitleBlock) bool { return len(b.Main)+len(b.More) == 0 })
}

// roster returns everybody who is listed, and the sentences below them. Whoever
// conducts comes first (common practice, no source), then the players: all but
// those who are gone or not to be heard, section by section in the order in which the seats
// come to them, each in seat order, so that a section whose seats are apart has one
// heading. Then come all others as the manifest lists them, and thanks.
func roster(p *production.Production, w *phrase.Book, gone map[string]bool) (list []card.Credit, foot []string) {
	var rest, thanks []card.Credit
	if p.Conductor != "" {
		list = append(list, credit(w, "conductor", p.Conductor))
	}
	for _, c := range p.Credits {
		switch {
		case c.Role == production.RoleRights:
			foot = append(foot, w.Typeset(c.Name))
		case c.Role == production.RoleThanks:
			thanks = append(thanks, card.Credit{Section: w.Say("film.role-thanks"), Name: w.Typeset(c.Name)})
		case slices.Contains([]string{"composer", "arranger", "lyricist", "conductor"}, c.Role):
			list = append(list, credit(w, c.Role, c.Name))
		default:
			rest = append(rest, credit(w, c.Role, c.Name))
		}
	}
	list, rest = roleOnce(list), roleOnce(rest)
	var sections []string
	of := map[string][]card.Credit{}
	for _, t := range p.Takes {
		if t.Release == production.ReleaseNo || gone[t.Name] {
			continue
		}
		if _, met := of[t.Section]; !met {
			sections = append(sections, t.Section)
		}
		of[t.Section] = append(of[t.Section], card.Credit{Section: w.Typeset(t.Section), Part: w.Typeset(t.Part),
			Name: w.Typeset(t.PublicName())})
	}
	for i, s := range sections {
		if i == 0 && s == "" && len(list) > 0 {
			list = append(list, card.Credit{}) // players without a section are apart from who leads them
		}
		list = append(list, of[s]...)
	}
	if n := len(list); n > 0 && list[n-1].Section == "" && len(rest) > 0 {
		list = append(list, card.Credit{})
	}
	return append(append(list, rest...), thanks...), foot
}

// credit returns a line of the credits: a role in the language of the film, or in
// words of one's own.
func credit(w *phrase.Book, role, name string) card.Credit {
	if slices.Contains(production.CreditRoles, role) {
		role = w.Say("film.role-" + role)
	}
	return card.Credit{Part: w.Typeset(role), Name: w.Typeset(name)}
}

// roleOnce leaves a role out where the line above has it already.
func roleOnce(list []card.Credit) []card.Credit {
	out := slices.Clone(list)
	for i := 1; i < len(list); i++ {
		if list[i].Part == list[i-1].Part {
			out[i].Part = ""
		}
	}
	return out
}
