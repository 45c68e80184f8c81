package takes

import (
	"math"
	"slices"

	"ripieno/assemble/guide"
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/mix/align"
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
				r.playTo(c)
				s.noteTake(c, t.Name)
			}
		}
		s.compareFormer(man, made, t)
	}
	for i := range s.Guides {
		s.Guides[i].Describe()
	}
}

// playTo notes that the recording was played to a guide of before.
func (r *Recording) playTo(c guide.Change) {
	r.playedTo = c.Told()
	r.Place.Reason = "played to the guide that was made with " + r.playedTo +
		"; set that back, or send this player the current guide and ask for a new take"
}

// Bounds of when a take was played to a guide of before. Simulated takes fit the guide that
// was theirs by 2 to 15 nats better than one of another meter, count-in, cue or length.
const (
	formerGain  = 3.0  // nats by which its recordings fit that better, together
	formerStart = 0.06 // seconds by which the piece then begins elsewhere, from which it is not sure
)

// compareFormer finds out whether a take at the guide's tempo was played to a guide of before
// that had another meter, count-in, cue or length. Where the piece would begin elsewhere by
// that its place is not sure.
func (s *Set) compareFormer(man *production.Production, made *manifest.Made, t Take) {
	var recs []align.Recording
	var of []*Recording
	for _, r := range t.Recordings() {
		if r.Err == nil && r.playedTo == "" && r.Features != nil {
			recs = append(recs, align.Recording{Name: r.Name(), Features: r.Features, CueAt: r.cueAt(),
				Offset: r.File.Offset})
			of = append(of, r)
		}
	}
	best, most, start := guide.FormerGuide{}, formerGain, 0.0
	if len(recs) == 0 {
		return
	}
	for _, f := range guide.Former(man, made, t.Guide) {
		gain, begins := 0.0, 0.0
		for _, x := range align.CompareGuides(f.Tempo, f.Now, recs) {
			gain, begins = gain+x.Gain, math.Max(begins, math.Abs(x.Start))
		}
		if gain > most {
			best, most, start = f, gain, begins
		}
	}
	if most == formerGain {
		return
	}
	s.noteTake(best.Change, t.Name)
	for _, r := range of {
		if start > formerStart && r.File.Offset == nil && r.File.CueAt == nil {
			r.playTo(best.Change)
			r.Place.Sure, r.Place.Former, r.Place.Confidence = false, true, math.Min(r.Place.Confidence, formerSure)
		}
	}
}

// formerSure is the probability of its place that a take has at most which was played to a
// guide of before.
const formerSure = 0.98

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
