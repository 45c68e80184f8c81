package align

import (
	"cmp"
	"math"
	"slices"
)

// candidates fills t.hyps with the places worth weighing: the best of the scan, and
// wherever a sound like a cue would be the cue.
func (t *take) candidates(g *grid) {
	s := newScan(g, t)
	t.scan = s
	if len(s.act) == 0 {
		return
	}
	total := make([]float64, len(s.act))
	for i := range total {
		total[i] = s.at(i).weighed()
	}
	for _, i := range peaks(total, mostCandidates) {
		t.hyps = append(t.hyps, t.hypothesis(g, s.offset(i)))
	}
	t.prune()
}

// mostCandidates bounds how many places of a file are weighed closely, and
// apart is how far two of them lie apart at least, in seconds.
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

// at are the terms of a place that the scan knows.
func (s *scan) at(i int) terms {
	var x terms
	x[sound], x[beats], x[clap] = s.act[i], s.comb[i], s.clap[i]
	return x
}

// hypothesis weighs the place near o.
func (t *take) hypothesis(g *grid, o float64) hyp {
	h := hyp{cue: -1, o: o, terms: t.scan.at(t.scan.index(o))}
	if !math.IsNaN(g.cue) {
		t.findCue(g, &h)
	}
	h.clicks = t.leak(g, &h)
	h.terms[bleed] = h.odds
	h.score = h.terms.weighed()
	return h
}

// cueReach is how far from its beat a cue is looked for, in seconds.
const cueReach = 0.12

// findCue takes the event most like a cue where the cue should be.
func (t *take) findCue(g *grid, h *hyp) {
	span := math.Max(20, t.f.Duration)
	best := 0.0
	for i := range t.f.Events {
		if math.Abs(t.guide(h.o, i)-g.cue) > cueReach {
			continue
		}
		// By chance an event of rank r lies within reach at a rate of r per
		// duration of the file; and few cues are as poor as the poorest events.
		rank := math.Max(0, math.Log(span/(2*cueReach*float64(t.rank[i]))))
		quality := math.Max(-8, math.Min(3, t.like[i])) + 8
		if v := weights[cueRank]*rank + weights[cueQuality]*quality; v > best {
			best, h.cue = v, i
			h.terms[cueRank], h.terms[cueQuality] = rank, quality
		}
	}
}

// prune keeps the best of every tenth of a second.
func (t *take) prune() {
	slices.SortFunc(t.hyps, func(a, b hyp) int {
		return cmp.Or(cmp.Compare(b.score, a.score), cmp.Compare(a.o, b.o))
	})
	var keep []hyp
	for _, h := range t.hyps {
		near := slices.ContainsFunc(keep, func(k hyp) bool { return math.Abs(k.o-h.o) < placesApart })
		if !near && len(keep) < mostCandidates {
			keep = append(keep, h)
		}
	}
	t.hyps = keep
}
