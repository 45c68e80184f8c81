package takes

import (
	"slices"

	"ripieno/assemble/guide"
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
)

// compareGuides finds out which guides were made otherwise than the manifest says
// now, and which takes were played to such a one. A record that cannot be read is
// told in their place. It changes nothing about where takes lie; only the reason that
// is told becomes better.
func (s *Set) compareGuides(man *production.Production) {
	made, err := manifest.LoadMade(man.Dir)
	if err != nil {
		bad := NewFault("", "", err)
		s.Guides = []guide.Change{{Guides: []string{}, Differs: []guide.Difference{}, What: bad.What, Hint: bad.Hint}}
		return
	}
	s.Guides = guide.Changed(man, made)
	for _, t := range s.Takes {
		for _, r := range t.Recordings() {
			if r.Err != nil || r.Place.OtherTempo == 0 {
				continue
			}
			if c, ok := guide.PlayedTo(man, made, t.Guide, r.Place.OtherTempo); ok {
				r.playedTo = c.Told()
				r.Place.Reason = "played to the guide that was made with " + r.playedTo +
					"; set that back, or send this player the guide of now and ask for a new take"
				s.noteTake(c, t.Name)
			}
		}
	}
	for i := range s.Guides {
		s.Guides[i].Describe()
	}
}

// noteTake adds a take to the guide it was played to, which may be one that is
// told already.
func (s *Set) noteTake(c guide.Change, take string) {
	i := slices.IndexFunc(s.Guides, func(o guide.Change) bool {
		return o.Older == c.Older && slices.Equal(o.Differs, c.Differs) && slices.Contains(o.Guides, c.Guides[0])
	})
	if i < 0 {
		s.Guides, i = append(s.Guides, c), len(s.Guides)
	}
	if list := &s.Guides[i].Takes; !slices.Contains(*list, take) {
		*list = append(*list, take)
	}
}
