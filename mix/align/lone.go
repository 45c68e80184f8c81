package align

import "math"

// A clear clap that stands alone in its file is where an editor would line the file
// up by eye. Rhythm and harmony may fit as well a beat away, and agree there with
// others by chance; only another sound like a clap may say that this one was none.
const (
	loneLead    = 2.0  // by which it must be more like a cue than all else, in nats
	loneLeast   = -1.0 // how cue-like it must be
	loneStands  = 18.0 // dB over what is before and after it
	loneRival   = 2.0  // nats by which another place's cue may be the weaker to rival it
	loneQuieter = 1.5  // by which the sound may fit another place better
	loneAgainst = 6.0  // nats that the others may say against it, unless
	loneClear   = 30.0 // it stands out by so many dB: real claps and snaps do by 40 to 60
	loneSure    = 6.0  // nats by which it leads then, and
	loneAsks    = 2.0  // where they say more
)

// loneClap returns the event that is a clear clap and the only one in its file; -1
// without one. Of the sounds so cue-like and so far ahead, however they stood out, 127
// of 127 were the cue in the sampled files worked with, 133 of 140 in simulated ones.
func (t *take) loneClap() int {
	for i, r := range t.rank {
		if r > 1 {
			continue
		}
		if t.like[i] >= loneLeast && t.lead(i) >= loneLead && t.stands(i) >= loneStands &&
			!t.paired(i) && !t.doubled(i) {
			return i
		}
	}
	return -1
}

// doubled reports whether another sound far from event i is a clear clap too, or as sharp, as short
// and nearly as loud, however dull: then neither is the only one of its file, however much more
// like a cue one of them is, and which is the cue is for the music to say. Somebody else may have
// clapped, or the player with hollow hands.
func (t *take) doubled(i int) bool {
	a := t.f.Events[i]
	for j, b := range t.f.Events {
		if t.like[j] <= likeTouch || math.Abs(b.Time-a.Time) <= pairMost || t.stands(j) < loneStands {
			continue
		}
		if t.like[j] >= loneLeast || b.rivals(a) {
			return true
		}
	}
	return false
}

// rivals reports whether b is a burst like a clap beside a: sharp, soon over, in most bands and not
// much softer.
func (b Event) rivals(a Event) bool {
	return b.Rise <= noteRise && b.Decay < pairDecay && b.Spread >= pairSpread && b.Level > a.Level-pairLouder
}

// paired reports whether another sharp burst about as loud comes so shortly before or after
// event i that the two hide the quiet round each other: then it is not to be told which of
// them is the clap.
func (t *take) paired(i int) bool {
	a := t.f.Events[i]
	for j, b := range t.f.Events {
		apart := b.Time - a.Time
		if j == i || math.Abs(apart) < pairLeast || math.Abs(apart) > pairMost {
			continue
		}
		quiet := b.Before // of the two sides of b the one away from a
		if apart > 0 {
			quiet = b.After
		}
		if b.rivals(a) && b.Level-quiet >= loneStands {
			return true
		}
	}
	return false
}

// What another sound must be like to be a clap beside a clap: so many seconds apart at least
// and at most, soon over, in most bands, and less than so many dB softer.
const (
	pairLeast  = 0.1
	pairMost   = 1.3
	pairDecay  = 0.1
	pairSpread = 0.7
	pairLouder = 6.0
)

// stands returns by how many dB event i stands out over what is before and after it.
func (t *take) stands(i int) float64 {
	e := t.f.Events[i]
	return e.Level - max(e.Before, e.After)
}

// trustClap lets a clear lone clap lead over places that no clap speaks for.
func (t *take) trustClap() {
	clap := t.loneClap()
	if clap < 0 || len(t.hyps) == 0 {
		return
	}
	best, by := t.best(), -1
	for i, h := range t.hyps {
		if h.cue == clap && (by < 0 || h.score > t.hyps[by].score) {
			by = i
		}
	}
	if by < 0 || best == &t.hyps[by] {
		return
	}
	h := &t.hyps[by]
	if best.terms.cueScore() > h.terms.cueScore()-loneRival || best.terms[sound] > h.terms[sound]+loneQuieter {
		return
	}
	lead := loneSure
	if t.stands(clap) < loneClear && best.terms.others()-h.terms.others() > loneAgainst {
		lead = loneAsks
	}
	h.score = best.score + lead
	t.normalise()
}

// others returns the part of the log odds that other takes say.
func (x terms) others() float64 {
	return weights[harmony]*x[harmony] + weights[rhythm]*x[rhythm]
}

// What a sound must be like to be like a note, and how many of the part's notes it is like before it
// may be one of them.
const (
	alikeBright = 0.1
	alikeRise   = 0.02 // seconds
	alikeDecay  = 0.05 // seconds, and half as much again as it has
	alikeSpread = 0.3
	alikeLeast  = 5
)

// isAlike reports whether b sounds like a, however loud either is.
func (a Event) isAlike(b Event) bool {
	return math.Abs(a.Bright-b.Bright) < alikeBright && math.Abs(a.Rise-b.Rise) < alikeRise &&
		math.Abs(a.Decay-b.Decay) < alikeDecay+0.5*a.Decay && math.Abs(a.Spread-b.Spread) < alikeSpread
}

// isPlayed reports whether the cue of a place is like several of the notes that the file holds of
// the piece there: then it may be one of them, a first beat before a rest.
func (t *take) isPlayed(g *grid, h hyp) bool {
	if h.cue < 0 {
		return false
	}
	n := 0
	for i, e := range t.f.Events {
		at := t.guide(h.o, i)
		if i != h.cue && t.weight[i] >= 0.4 && at > g.start-0.1 && at < g.end && t.f.Events[h.cue].isAlike(e) {
			n++
		}
	}
	return n >= alikeLeast
}

// leadsUncued reports whether the best place leads by playedLead nats over all others even where
// nothing is given for the sounds that would be the cue at each.
func (t *take) leadsUncued(h hyp) bool {
	for _, x := range t.hyps {
		if math.Abs(x.o-h.o) > 2*cueReach && x.score-x.terms.cueScore() > h.score-h.terms.cueScore()-playedLead {
			return false
		}
	}
	return true
}

// playedLead is by how many nats a place whose cue is like the part's own notes must lead without it.
const playedLead = 1.0
