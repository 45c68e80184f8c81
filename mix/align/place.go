package align

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"ripieno/mix/tempo"
)

// Place decides where every recording lies. What the user fixed wins. Pairs
// that are not sure, or that name unknown recordings, are left aside. The
// result has one Placement for each recording, in the same order; it does not
// depend on that order otherwise.
func Place(m *tempo.Map, recs []Recording, pairs []Pair) []Placement {
	g := newGrid(m)
	order := make([]int, len(recs))
	for i := range order {
		order[i] = i
	}
	// Sums of floating point numbers depend on their order: work in the
	// order of names, whatever the caller's was.
	slices.SortStableFunc(order, func(a, b int) int { return strings.Compare(recs[a].Name, recs[b].Name) })
	takes := make([]*take, len(recs))
	for k, i := range order {
		takes[k] = newTake(&recs[i])
	}
	for _, t := range takes {
		if !t.fixed(g) {
			t.search(g)
		}
	}
	ties := findTies(takes, pairs)
	couple(g, takes, ties)
	agree(g, takes)
	out := make([]Placement, len(recs))
	placed := make([]Placement, len(takes))
	for k, t := range takes {
		placed[k] = decide(g, t)
	}
	follow(g, takes, ties, placed)
	for k, i := range order {
		out[i] = placed[k]
	}
	return out
}

// fixed makes the user's word the only candidate.
func (t *take) fixed(g *grid) bool {
	o := math.NaN()
	switch {
	case t.rec.Offset != nil:
		o = *t.rec.Offset
	case t.rec.CueAt != nil && !math.IsNaN(g.cue):
		o = g.cue - *t.rec.CueAt*(1+t.ppm*1e-6)
	default:
		return false
	}
	t.hyps = []hyp{{cue: -1, cueO: math.NaN(), o: o}}
	return true
}

// agree lets the takes vote: each candidate is compared with the rhythm of
// all other takes, each of which counts by how sure it is of itself.
func agree(g *grid, takes []*take) {
	for _, t := range takes {
		for i := range t.hyps {
			t.hyps[i].slots = t.rhythm(g, t.hyps[i].o)
		}
		t.normalise()
	}
	for range 4 {
		for _, t := range takes {
			for i := range t.hyps {
				e, r := ensemble(g, t, &t.hyps[i], takes)
				t.hyps[i].ens, t.hyps[i].r = ensWeight*e, r
			}
		}
		for _, t := range takes {
			t.normalise()
		}
	}
}

// normalise turns scores into probabilities among a take's candidates.
func (t *take) normalise() {
	top := math.Inf(-1)
	for _, h := range t.hyps {
		top = math.Max(top, h.score+h.ens)
	}
	var sum float64
	for i := range t.hyps {
		h := &t.hyps[i]
		h.p = math.Exp(h.score + h.ens - top)
		sum += h.p
	}
	for i := range t.hyps {
		t.hyps[i].p /= sum
	}
}

// rhythm is how strongly a note begins at each slot when the file lies at o;
// -1 where the file does not reach.
func (t *take) rhythm(g *grid, o float64) []float32 {
	v := make([]float32, len(g.slots))
	end := o + t.f.Duration
	for k, s := range g.slots {
		if s.at < o || s.at > end {
			v[k] = -1
		}
	}
	for i := range t.f.Events {
		at := t.guide(o, i)
		if at < g.start-0.1 || at > g.end+0.1 || t.weight[i] < 0.1 {
			continue
		}
		k := g.first[max(0, min(len(g.first)-1, int((at-g.origin)/gridStep)))]
		for j := max(0, k-1); j <= min(len(g.slots)-1, k+1); j++ {
			d := (at - g.slots[j].at) / 0.03
			v[j] = max(v[j], float32(t.weight[i]*math.Exp(-d*d/2)))
		}
	}
	g.flatten(v)
	return v
}

// flatten takes out what all music has: that beats carry more notes than the
// places between them. What is left is the rhythm.
func (g *grid) flatten(v []float32) {
	sum := map[float64][2]float64{}
	for k, s := range g.slots {
		if v[k] >= 0 {
			c := sum[s.phase]
			sum[s.phase] = [2]float64{c[0] + float64(v[k]), c[1] + 1}
		}
	}
	for k, s := range g.slots {
		if v[k] < 0 {
			v[k] = 0
			continue
		}
		c := sum[s.phase]
		v[k] -= float32(c[0] / c[1])
	}
}

// ensemble is the support that the other takes lend a candidate, in nats, and
// its correlation with them.
func ensemble(g *grid, t *take, h *hyp, takes []*take) (nats, r float64) {
	var xy, xx, yy float64
	ref := make([]float64, len(g.slots))
	total := 0.0
	for _, other := range takes {
		if other == t || (other.rec.Take != "" && other.rec.Take == t.rec.Take) {
			continue // the same performance proves nothing
		}
		for _, k := range other.hyps {
			if k.p < 0.02 {
				continue
			}
			total += k.p
			for i, v := range k.slots {
				ref[i] += k.p * float64(v)
			}
		}
	}
	if total < 0.5 {
		return 0, 0
	}
	n := 0
	for i, v := range h.slots {
		if v == 0 {
			continue
		}
		n++
		x := float64(v)
		xy += x * ref[i]
		xx += x * x
		yy += ref[i] * ref[i]
	}
	if xx == 0 || yy == 0 || n < 16 {
		return 0, 0
	}
	r = xy / math.Sqrt(xx*yy)
	// Twice the log likelihood ratio of a correlation r of n pairs against
	// none is -n·log(1-r²). Neighbouring notes are not independent and
	// neither are the parts of a tutti: take a third.
	return math.Copysign(-float64(n)*math.Log(1-r*r)/2, r) / 3, r
}

// decide makes the placement of one take from its candidates.
func decide(g *grid, t *take) Placement {
	p := Placement{
		Name: t.rec.Name, Method: "none", CueOffset: math.NaN(), CueAt: math.NaN(),
		Lateness: math.NaN(), Uncertainty: math.Inf(1),
	}
	if t.rec.Offset != nil || (t.rec.CueAt != nil && len(t.hyps) == 1 && !math.IsNaN(g.cue)) {
		return given(g, t, p)
	}
	if len(t.hyps) == 0 {
		p.Reason = "there is nothing to hear in this file; give offset or cue_at"
		return p
	}
	best := 0
	for i, h := range t.hyps {
		if h.p > t.hyps[best].p {
			best = i
		}
	}
	h := t.hyps[best]
	fit := t.refine(g, h.o)
	p.settle(g, t, h, fit)
	p.judge(t, best, fit)
	return p
}

func given(g *grid, t *take, p Placement) Placement {
	p.Sure, p.Confidence, p.Uncertainty = true, 1, 0
	p.Offset, p.DriftPPM = t.hyps[0].o, t.ppm
	if t.rec.Offset != nil {
		p.Method = "offset given"
		p.Evidence = append(p.Evidence, fmt.Sprintf("offset %.3f s given", p.Offset))
	} else {
		p.Method = "cue given"
		p.CueAt, p.CueOffset = *t.rec.CueAt, p.Offset
		p.Evidence = append(p.Evidence, fmt.Sprintf("cue at %.3f s given", p.CueAt))
	}
	if fit := t.refine(g, p.Offset); fit.n >= 8 && p.Method == "cue given" {
		p.Lateness = fit.mu
		p.Evidence = append(p.Evidence, fmt.Sprintf("the playing lies %+.0f ms from the beats", 1000*fit.mu))
	}
	return p
}
