package align

import (
	"cmp"
	"math"
	"slices"
)

// candidates fills t.hyps with the places worth weighing: the best of the scan, and
// wherever a sound like a cue would be the cue. A score that the playing does not
// follow is left aside.
func (t *take) candidates(g *grid) {
	if len(t.f.Events) == 0 {
		return
	}
	if !t.clocked() {
		t.ppm = newComb(t, g).bestDrift()
	}
	t.scan = newScan(g, t)
	if len(t.scan.act) == 0 {
		return
	}
	t.search(g)
	if t.hideClicks(g) {
		t.hyps = nil
		t.search(g)
	}
	if t.part == nil {
		return
	}
	plain := *t
	plain.part, plain.hyps = nil, nil
	plain.search(g)
	if !t.part.follows(g, t, t.hyps[0].o) || plain.objects(g, t.hyps[0].o) {
		*t = plain
	}
}

// objects reports whether a take, heard without its score, has its cue clearly
// elsewhere than at o: then somebody gave it another player's part, whose rhythm
// may well fit half a beat off. A sound that is no clear clap, or like the part's
// own notes, says nothing against what is written.
func (t *take) objects(g *grid, o float64) bool {
	t.normalise()
	h := t.hyps[0]
	return h.cue >= 0 && h.p > 0.9 && math.Abs(h.o-o) > 2*cueReach && t.like[h.cue] >= loneLeast && !t.isPlayed(g, h)
}

// search fills t.hyps from the scan, with what is written of the part or without.
func (t *take) search(g *grid) {
	s := t.scan
	total := make([]float64, len(s.act))
	for i := range total {
		total[i] = s.at(i).weighed()
	}
	for _, i := range peaks(total, mostCandidates) {
		t.hyps = append(t.hyps, t.hypothesis(g, s.offset(i)))
	}
	if t.part != nil {
		for _, o := range newComb(t, g).peaks(mostCandidates) {
			if s.holds(o) {
				t.hyps = append(t.hyps, t.hypothesis(g, o))
			}
		}
	}
	t.tryCues(g)
	t.prune()
}

// tryCues adds the places at which the most cue-like sounds would be the cue.
func (t *take) tryCues(g *grid) {
	if math.IsNaN(g.cue) {
		return
	}
	for i, r := range t.rank {
		o := g.cue - t.f.Events[i].Time*t.ratio()
		if r <= bestCues && t.scan.holds(o) {
			t.hyps = append(t.hyps, t.hypothesis(g, o))
		}
	}
}

// bestCues is how many of a file's sounds are tried as the cue whatever else speaks
// for it.
const bestCues = 20

// mostCandidates bounds how many places of a file are weighed closely, and
// placesApart is how far two of them lie apart at least, in seconds.
const (
	mostCandidates = 60
	placesApart    = 0.1
)

// peaks returns the indices of the highest local maxima that lie apart, the
// highest first.
func peaks(v []float64, most int) []int {
	const reach = int(placesApart / scanStep)
	var all []int
	for i := range v {
		highest := true
		for k := max(0, i-reach); k <= min(len(v)-1, i+reach) && highest; k++ {
			highest = v[k] < v[i] || v[k] == v[i] && k >= i
		}
		if highest {
			all = append(all, i)
		}
	}
	slices.SortStableFunc(all, func(a, b int) int { return cmp.Compare(v[b], v[a]) })
	return all[:min(most, len(all))]
}

// at returns the terms of a place that the scan knows.
func (s *scan) at(i int) terms {
	var x terms
	x[sound], x[beats], x[burst] = s.act[i], s.comb[i], s.clap[i]
	return x
}

// hypothesis weighs the place near o.
func (t *take) hypothesis(g *grid, o float64) hyp {
	h := hyp{cue: -1, o: o, terms: t.scan.at(t.scan.index(o))}
	if !math.IsNaN(g.cue) {
		t.findCue(g, &h)
	}
	h.clicks = t.leak(g, &h)
	h.terms[bleed] = math.Min(20, h.odds)
	if t.part != nil {
		h.terms[scoreFit], h.terms[missed] = t.part.fit(g, t, o)
	}
	h.score = h.terms.weighed()
	return h
}

// cueReach is how far from its beat a cue is looked for, in seconds.
const cueReach = 0.12

// findCue takes the event most like a cue where the cue should be.
func (t *take) findCue(g *grid, h *hyp) {
	best := 0.0
	for i := range t.f.Events {
		if math.Abs(t.guide(h.o, i)-g.cue) > cueReach {
			continue
		}
		x := h.terms
		t.cueTerms(i, &x)
		if v := x.cueScore(); v > best {
			best, h.cue, h.terms = v, i, x
		}
	}
}

// cueTerms sets what finding event i at the cue's place is worth.
func (t *take) cueTerms(i int, x *terms) {
	// By chance an event of rank r lies within reach at a rate of r per duration
	// of the file; and few cues are as poor as the poorest events.
	span := math.Max(20, t.f.Duration)
	x[cueRank] = math.Max(0, math.Log(span/(2*cueReach*float64(t.rank[i]))))
	x[cueQuality] = math.Max(-8, math.Min(3, t.like[i])) + 8
	x[cueAlone] = math.Max(0, math.Min(3, t.lead(i))) * ramp(t.stands(i), 8, 23)
}

// lead returns by how much event i is more like a cue than any other of its file.
func (t *take) lead(i int) float64 {
	if t.rank[i] > 1 {
		return 0
	}
	next := -12.0
	for j, e := range t.f.Events {
		if math.Abs(e.Time-t.f.Events[i].Time) > 0.15 {
			next = math.Max(next, t.like[j])
		}
	}
	return t.like[i] - next
}

// cueScore returns how much speaks for the sound taken for the cue, in nats.
func (x terms) cueScore() float64 {
	var sum float64
	for _, k := range [...]int{cueRank, cueQuality, cueAlone} {
		sum += weights[k] * x[k]
	}
	return sum
}

// prune keeps the best of every tenth of a second, and of those with one cue.
func (t *take) prune() {
	slices.SortFunc(t.hyps, func(a, b hyp) int {
		return cmp.Or(cmp.Compare(b.score, a.score), cmp.Compare(a.o, b.o))
	})
	var keep []hyp
	for _, h := range t.hyps {
		near := slices.ContainsFunc(keep, func(k hyp) bool {
			d := math.Abs(k.o - h.o)
			return d < placesApart || h.cue >= 0 && h.cue == k.cue && d < 2*cueReach
		})
		if !near && len(keep) < mostCandidates {
			keep = append(keep, h)
		}
	}
	t.hyps = keep
}
