package plan

import (
	"slices"

	"ripieno/assemble/production"
	"ripieno/layout/shot"
)

// missing returns the takes that a film has neither a tile nor a credit for: in a
// finished film those of which it has nothing, for whatever reason. A rough cut
// keeps all, with a word on what is the matter; so does a film of which nothing
// is there at all.
func missing(p *production.Production, facts map[string]Facts, w Want) map[string]bool {
	if w.Rough || w.KeepSeats {
		return nil
	}
	gone := map[string]bool{}
	for _, t := range p.Takes {
		if f, known := facts[t.Name]; !known || f.Absent != Present {
			gone[t.Name] = true
		}
	}
	if len(gone) == len(p.Takes) {
		return nil
	}
	return gone
}

// untiled adds to the takes that are missing those that are heard alone and named
// in the credits alone, when the production wants that.
func untiled(p *production.Production, facts map[string]Facts, gone map[string]bool) map[string]bool {
	if p.Picture.AudioOnly != production.AudioOnlyCredit {
		return gone
	}
	all := map[string]bool{}
	for _, t := range p.Takes {
		f := facts[t.Name]
		if gone[t.Name] || f.Absent == Present && f.Picture == nil {
			all[t.Name] = true
		}
	}
	if len(all) == len(p.Takes) {
		return gone
	}
	return all
}

// without returns a shot without takes that have no tile. A section of which nobody
// is left, and a soloist who is not there, leave everybody's shot, and one of a
// pair stands alone.
func (h *arranger) without(s shot.Shot) shot.Shot {
	if len(h.untiled) == 0 || len(s.Takes) == 0 {
		return s
	}
	was := s.Takes
	left := func(takes []string) []string {
		return slices.DeleteFunc(slices.Clone(takes), func(t string) bool { return h.untiled[t] })
	}
	s.Takes = left(was)
	switch {
	case len(s.Takes) == 0, s.Show == shot.Solo && h.untiled[was[0]]:
		s.Show, s.Section, s.Takes = shot.Tutti, "", nil
		for _, t := range h.p.Takes {
			s.Takes = append(s.Takes, t.Name)
		}
		s.Takes = left(s.Takes)
	case s.Show == shot.Pair && len(s.Takes) == 1:
		s.Show = shot.Solo
	}
	return s
}
