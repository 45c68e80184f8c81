package align

import (
	"fmt"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"

	"ripieno/mix/audio"
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
		takes[k].part = newWritten(g, recs[i].Onsets)
	}
	searchAll(g, takes)
	ties := findTies(takes, pairs)
	couple(g, takes, ties)
	harmonise(g, takes)
	out := make([]Placement, len(recs))
	placed := make([]Placement, len(takes))
	for k, t := range takes {
		placed[k] = decide(g, t)
	}
	doubtTempo(g, takes, placed)
	follow(g, takes, ties, placed)
	keepLateness(takes, placed)
	for k, i := range order {
		out[i] = placed[k]
	}
	return out
}

// searchAll finds the candidates of all takes, several at a time: a take's
// candidates depend on nothing but itself.
func searchAll(g *grid, takes []*take) {
	var wait sync.WaitGroup
	slot := make(chan struct{}, runtime.GOMAXPROCS(0))
	for _, t := range takes {
		if t.fixed(g) {
			continue
		}
		wait.Add(1)
		slot <- struct{}{}
		go func() {
			defer wait.Done()
			t.candidates(g)
			<-slot
		}()
	}
	wait.Wait()
}

// fixed makes the user's word the only candidate.
func (t *take) fixed(g *grid) bool {
	var o float64
	switch {
	case t.rec.Offset != nil:
		o = *t.rec.Offset
	case t.rec.CueAt != nil && !math.IsNaN(g.cue):
		o = g.cue - *t.rec.CueAt*t.ratio()
	default:
		return false
	}
	if t.part != nil && !t.part.follows(g, t, o) {
		t.part = nil
	}
	t.hyps, t.given = []hyp{{cue: -1, o: o}}, true
	return true
}

// unplaced returns the placement of a take of which nothing is known.
func unplaced(t *take) Placement {
	return Placement{
		Name: t.rec.Name, Method: NoMethod, CueOffset: math.NaN(), CueAt: math.NaN(),
		Lateness: math.NaN(), Uncertainty: math.Inf(1), ClickDB: math.NaN(),
		ClickOffset: math.NaN(),
	}
}

// decide makes the placement of one take from its candidates.
func decide(g *grid, t *take) Placement {
	p := unplaced(t)
	if t.given {
		return given(g, t, p)
	}
	if len(t.hyps) == 0 {
		p.Reason = "there is nothing to hear in this file; give offset or cue_at"
		if len(t.f.Events) > 0 {
			p.Reason = fmt.Sprintf("this file is %.1f s long, too short to tell where in the piece it is; give "+
				"offset or cue_at", t.f.Duration)
		}
		return p
	}
	best := 0
	for i, h := range t.hyps {
		if h.p > t.hyps[best].p {
			best = i
		}
	}
	h := t.hyps[best]
	if h.clicks.odds >= clicksHeard {
		p.ClickDB = h.clicks.level
	}
	p.ClickOffset = t.byClicks(h)
	o, fit := t.measure(g, h)
	p.settle(g, t, h, o, fit)
	p.begunLate, p.fit = h.o > g.cue, h.terms[beats]
	p.judge(g, t, best, fit)
	return p
}

// given returns the placement that the user fixed. The clock is still measured,
// round what was fixed, unless that was fixed too.
func given(g *grid, t *take, p Placement) Placement {
	p.Sure, p.Confidence, p.Uncertainty = true, 1, 0
	p.Offset = t.hyps[0].o
	fit := t.refine(g, p.Offset, clicks{})
	p.DriftPPM = t.ppm + fit.drift(t)
	if t.rec.Offset != nil {
		p.Method = ByOffset
		p.Evidence = append(p.Evidence, fmt.Sprintf("offset %.3f s given", p.Offset))
		return p
	}
	p.Method, p.CueAt = ByCueGiven, *t.rec.CueAt
	p.Offset = g.cue - p.CueAt*audio.PPM(p.DriftPPM).Ratio()
	p.CueOffset = p.Offset
	p.Evidence = append(p.Evidence, fmt.Sprintf("cue at %.3f s given", p.CueAt))
	if fit.n >= 2*minNotes {
		p.Lateness = fit.mu
		p.Evidence = append(p.Evidence, fmt.Sprintf("the playing is %.0f ms %s against the cue",
			math.Abs(1000*fit.mu), lateOrEarly(fit.mu)))
	}
	return p
}
