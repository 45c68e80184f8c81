package manifest

import (
	"fmt"
	"slices"

	"go.yaml.in/yaml/v3"

	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/shot"
	"ripieno/mix/tempo"
)

// isScalar reports whether a node is a single value.
func isScalar(n *yaml.Node) bool { return n.Kind == yaml.ScalarNode }

// placedShot is a shot whose beginning is known, with where it is written.
type placedShot struct {
	production.Shot
	m mapping
}

// shots reads the shot list and sorts it. Shots without a time are faults
// already and are left out.
func (m mapping) shots(p *production.Production) []production.Shot {
	var placed []placedShot
	who := castOf(p.Takes)
	for _, e := range m.entries("shots", shotShape) {
		s := e.shot(who)
		ok := false
		if e.need("from", "start for the film's beginning, or for example m33") {
			s.From, ok = e.moment("from", p.Tempo)
		}
		if to, ok := e.moment("to", p.Tempo); ok {
			s.To = &to
		}
		if !ok {
			continue
		}
		switch {
		case s.From.Edge == production.FilmEnd:
			e.at(e.vals["from"], "give a time before the end", "a shot cannot begin at the end")
			continue
		case s.To != nil && !s.From.Before(*s.To):
			e.at(e.vals["to"], "from must come before to", "the shot ends at %q, which is not after its beginning %q",
				s.To.Text, s.From.Text)
			s.To = nil
		}
		placed = append(placed, placedShot{s, e})
	}
	slices.SortStableFunc(placed, func(a, b placedShot) int { return production.CompareTimes(a.From, b.From) })
	if onBeats(p.Picture) && p.Tempo != nil {
		snap(placed, p.Tempo)
	}
	var shots []production.Shot
	for i, s := range placed {
		s.Transition = s.m.transition(s.From, p.Tempo)
		if i > 0 {
			s.follows(placed[i-1])
		}
		shots = append(shots, s.Shot)
	}
	return shots
}

// onBeats reports whether shots of a picture cut on beats.
func onBeats(p production.Picture) bool {
	if p.Cuts == "" {
		return p.Aspect.Shapes != (layout.Shapes{})
	}
	return p.Cuts == production.CutOnBeats
}

// snap moves times of shots that are given in seconds to the nearest beat, unless two
// shots would begin together or one would have no length.
func snap(placed []placedShot, music *tempo.Map) {
	beat := func(t production.Time) production.Time {
		if _, musical := musical(t.Text); !musical && t.Edge == production.Moment {
			t.Seconds = music.NearestBeat(t.Seconds)
		}
		return t
	}
	for i := range placed {
		s := &placed[i]
		if s.To != nil {
			if to := beat(*s.To); s.From.Before(to) && (i+1 == len(placed) || !placed[i+1].From.Before(to)) {
				s.To = &to
			}
		}
		from := beat(s.From)
		if (i == 0 || placed[i-1].From.Before(from)) && (s.To == nil || from.Before(*s.To)) &&
			(i+1 == len(placed) || from.Before(placed[i+1].From)) {
			if i > 0 && placed[i-1].To != nil && from.Before(*placed[i-1].To) {
				continue // the shot before ends between beats
			}
			s.From = from
		}
	}
}

// entrances reads how tiles come into the shot.
func (m mapping) entrances(show shot.Kind) production.Entrances {
	c, ok := m.child("entrances", entrancesShape)
	if !ok {
		return production.Entrances{}
	}
	if show != "" && show != shot.Tutti {
		m.at(m.keys["entrances"], "delete it, or show: tutti", "a shot that shows %s has no %q", show, "entrances")
	}
	e := production.Entrances{By: choose(c, "by", production.EntranceKinds[0]), Beats: 1, Mark: markOf(m.file, c.node)}
	e.Beats = c.numberOr("beats", e.Beats)
	return e
}

// follows adds a fault when s and the shot before it want the film at once.
func (s placedShot) follows(last placedShot) {
	switch {
	case !last.From.Before(s.From):
		s.m.at(s.m.vals["from"], fmt.Sprintf("the other is on line %d; a film shows one shot at a time",
			last.m.node.Line),
			"a second shot begins at %q", s.From.Text)
	case last.To != nil && s.From.Before(*last.To):
		last.m.at(last.m.vals["to"], fmt.Sprintf("to: %s, or leave it out: a shot ends where the next begins",
			s.From.Text),
			"the shot ends at %q, after the next has begun at %q (line %d)", last.To.Text, s.From.Text, s.m.node.Line)
	}
}

// shot reads what one shot shows; its times are for shots.
func (m mapping) shot(who cast) production.Shot {
	s := production.Shot{Mark: markOf(m.file, m.node)}
	if m.need("show", "tutti, soli, solo, pair or card") {
		s.Show = choose[shot.Kind](m, "show", "")
	}
	if m.has("labels") {
		b := m.flag("labels", true)
		s.Labels = &b
	}
	// Each sort of shot has keys of its own, and no other sort has them.
	for _, own := range []struct {
		show      shot.Kind
		key, hint string
	}{
		{shot.Soli, "section", "the section to show, for example section: winds"},
		{shot.Solo, "take", "the take to show, for example take: oboe-1"},
		{shot.Solo, "others", ""},
		{shot.Pair, "takes", "the two takes to show, for example takes: [oboe-1, horn-2]"},
		{shot.Card, "text", "text: title, text: credits, or words of your own"},
		{shot.Card, "roll", ""},
	} {
		switch {
		case s.Show == own.show && own.hint == "": // it may be left out
		case s.Show == own.show:
			m.need(own.key, own.hint)
		case s.Show != "" && m.has(own.key):
			m.at(m.keys[own.key], fmt.Sprintf("delete it, or show: %s", own.show), "a shot that shows %s has no %q",
				s.Show, own.key)
		}
	}
	s.Section = m.sectionName("section")
	s.Take = m.text("take", "oboe-1")
	s.Others = choose[production.Others](m, "others", "")
	s.Text = m.textUpTo("text", "title", maxCard, true)
	if s.Roll = m.flag("roll", false); s.Roll && s.Show == shot.Card && s.Text != "credits" {
		m.at(m.keys["roll"], "text: credits, or leave out roll", "roll is for credits only")
	}
	s.LabelsFor = m.optional("labels_for")
	s.Aspect = m.aspect()
	if s.PushIn, _ = m.number("push_in"); s.PushIn > 0 && s.Roll {
		m.at(m.keys["push_in"], "delete it, or leave out roll", "credits that roll cannot have push_in")
	}
	s.Entrances = m.entrances(s.Show)
	m.pair(&s, who)
	switch {
	case s.Show == shot.Soli && s.Section != "" && !who.known["section "+s.Section]: // it would be empty
		m.at(m.vals["section"], m.didYouMean(s.Section, who.sections, "sections with takes"),
			"no take is in section %q", clip(s.Section))
	case s.Show == shot.Solo && s.Take != "" && !who.known["take "+s.Take]:
		m.at(m.vals["take"], m.didYouMean(s.Take, who.takes, "takes"), "there is no take %q", clip(s.Take))
	}
	return s
}

// cast is who can be shown, by name and in the order of takes.
type cast struct {
	takes, sections []string
	known           map[string]bool // "take oboe-1", "section winds"
}

// castOf returns who can be shown of some takes.
func castOf(takes []production.Take) cast {
	c := cast{known: map[string]bool{}}
	for _, t := range takes {
		if t.Name != "" {
			c.takes = append(c.takes, t.Name)
			c.known["take "+t.Name] = true
		}
		if t.Section != "" && !c.known["section "+t.Section] {
			c.sections = append(c.sections, t.Section)
			c.known["section "+t.Section] = true
		}
	}
	return c
}

// didYouMean names the nearest of some names, or the first few of them.
func (r *reader) didYouMean(name string, known []string, what string) string {
	if near := r.nearest(name, known); near != "" {
		return fmt.Sprintf("did you mean %q?", near)
	}
	if len(known) == 0 {
		return "there are no " + what
	}
	list := ""
	for i, k := range known[:min(len(known), 8)] {
		if i > 0 {
			list += ", "
		}
		list += k
	}
	if len(known) > 8 {
		list += ", …"
	}
	return what + ": " + list
}
