package align

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// sureBar is the least probability of the right place at which a file is placed
// without asking.
const sureBar = 0.99

// mostUnsure is the largest expected error, in seconds, at which a file whose place in the
// piece is sure is placed without asking when it has no cue near by. Of sampled files without
// one, put at their right place, 1 of 136 with less than 24 ms was farther off than 40 ms, 6 of
// 34 with less than 32 and 18 of 44 with more; those of the 6 were not sure of their place. With
// a cue none of 173 was, whatever the error to expect: so close to it its place is good enough. That
// does not hold for a note for a cue, which is misheard as the player's other notes are: a bow of the
// own simulation, 43 ms to expect, was sure and 56 ms off. Four of 3,273 sampled files, of two
// players, are asked about for it.
const mostUnsure = 0.032

// isKnown reports whether a placement is exact enough to be used without asking, its place in
// the piece being sure.
func (p *Placement) isKnown() bool {
	return p.Method != NoMethod && (p.isByCue() || p.Uncertainty <= mostUnsure)
}

// isByCue reports whether a file has a cue near where it should be that is no note.
func (p *Placement) isByCue() bool {
	return !p.byNote && math.Abs(p.Offset-p.CueOffset) <= 2*mostTightened
}

// Candidate is a place where a file may lie.
type Candidate struct {
	// Offset and DriftPPM are where the file lies if this is its place, as in
	// [Placement].
	Offset, DriftPPM float64
	At               float64 // seconds of the file at which the cue would be, or else the first note
	ByCue            bool    // At is that of a cue
	Odds             float64 // probability, 0..1
	Evidence         []string
}

// mostShown is how many candidates a placement tells.
const mostShown = 3

// judge says how sure the placement at candidate best is, and why.
func (p *Placement) judge(g *grid, t *take, best int, fit playing) {
	order := p.show(g, t)
	h := t.hyps[best]
	p.Confidence = h.p
	p.Evidence = append(p.Evidence, t.evidence(h)...)
	if fit.n >= minNotes {
		p.Evidence = append(p.Evidence, fmt.Sprintf("%d notes scatter by %.0f ms about the beats", fit.n,
			1000*fit.sigma))
	}
	if !math.IsNaN(p.Lateness) {
		p.Evidence = append(p.Evidence, fmt.Sprintf("the playing is %.0f ms %s against the cue",
			math.Abs(1000*p.Lateness), lateOrEarly(p.Lateness)))
	}
	switch {
	case t.part != nil:
		p.Evidence = append(p.Evidence, "the notes begin where the score has them")
	case len(t.rec.Onsets) > 0:
		p.Evidence = append(p.Evidence, "the notes do not follow the part in the score, which was left aside")
	}
	if p.Method == NoMethod {
		p.Confidence, p.Candidates = 0, nil
	}
	if p.isDoubtful(g, t, h, fit) {
		p.Confidence = math.Min(p.Confidence, justUnsure)
	}
	if p.Method == ByPlaying && p.Uncertainty > startsSharp {
		p.Uncertainty = math.Max(p.Uncertainty, t.cueBeside(g, p)/2)
	}
	p.Sure = p.Confidence >= sureBar && p.isKnown()
	if !p.Sure {
		p.Reason = p.doubt(t, order)
	}
}

// show adds the best places to p's candidates and returns the order of all of t's, the likeliest first.
func (p *Placement) show(g *grid, t *take) []int {
	order := make([]int, len(t.hyps))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(t.hyps[b].p, t.hyps[a].p) })
	for _, i := range order {
		if len(p.Candidates) == mostShown {
			break
		}
		c := t.candidate(g, t.hyps[i])
		same := func(o Candidate) bool { return math.Abs(o.Offset-c.Offset) < placesApart }
		if !slices.ContainsFunc(p.Candidates, same) {
			p.Candidates = append(p.Candidates, c)
		}
	}
	return order
}

// isDoubtful reports whether place h is doubted whatever its odds are.
func (p *Placement) isDoubtful(g *grid, t *take, h hyp, fit playing) bool {
	switch {
	case p.Method == ByCue && t.loneClap() != h.cue && h.p < plainBar:
		// Only where there is sound tells which clap is the cue: of sampled files without their notes
		// that put 1 of 113 on a false one and none of 268 from plainBar on; without their clap
		// too, 6 of 6 and none came so far.
		return true
	case fit.n >= minNotes && math.Abs(p.Lateness) > mostApart && t.rank[h.cue] > 1:
		return true
	case h.cue >= 0 && t.rank[h.cue] > 1 && h.p < plainBar && t.isTaps():
		return true
	case t.isPlayed(g, h) && !t.leadsUncued(h):
		return true
	}
	return !t.joined && !t.sureUnheard()
}

// cueBeside returns how far a file that was placed without a cue lies from where the sound that
// is most like one would be the cue, in seconds; 0 where that is no place beside it. Soft notes
// that a score puts there, or the beats, are then known no better than half of that.
func (t *take) cueBeside(g *grid, p *Placement) float64 {
	for i, rank := range t.rank {
		if d := math.Abs(p.Clock().Guide(t.f.Events[i].Heard) - g.cue); rank == 1 && d < mostBeside {
			return d
		}
	}
	return 0
}

// mostBeside is how far beside a file's place its clap may seem to be, in seconds, for the two
// to be one place that is known badly: less than from beat to beat.
const mostBeside = 0.2

// isTaps reports whether a file is full of sounds that are like a cue, as a part of taps and
// claps is: then neither a cue nor a place among the beats is rare, and the odds of both are
// worth less than they say.
func (t *take) isTaps() bool {
	n := 0
	for _, v := range t.like {
		if v >= loneLeast {
			n++
		}
	}
	return n > mostTaps
}

// mostTaps is how many sounds like a cue a file may have beside the cue.
const mostTaps = 6

// mostApart is how far a sound that is no clear clap may lie from the playing and still be
// the cue without asking, in seconds: four times what claps scatter by.
const mostApart = 4 * clapSigma

// justUnsure is a probability that is not sure, but nearly.
const justUnsure = 0.98

// evidence says in words what speaks for a candidate.
func (t *take) evidence(h hyp) []string {
	var out []string
	switch {
	case h.cue >= 0 && h.terms.cueScore() >= leastCue:
		e := t.f.Events[h.cue]
		out = append(out, fmt.Sprintf("cue at %.3f s, %.0f dB above the sound before it, number %d of the file's "+
			"candidates", e.Heard, e.Level-e.Before, t.rank[h.cue]))
	case h.terms[cueRank] == 0:
		out = append(out, "no cue there")
	}
	out = append(out, fmt.Sprintf("notes on the beats %.2f", h.terms[beats]),
		fmt.Sprintf("sound where the piece is %.2f", h.terms[sound]))
	if h.terms[harmony] != 0 {
		// No "-0.00".
		out = append(out, fmt.Sprintf("harmony of the others %.2f", math.Round(100*h.terms[harmony])/100+0))
	}
	if h.odds >= clicksHeard {
		out = append(out, "clicks of the guide are heard there")
	}
	return out
}

// candidate tells one of the places.
func (t *take) candidate(g *grid, h hyp) Candidate {
	p := unplaced(t)
	o, fit := t.measure(g, h)
	p.settle(g, t, h, o, fit)
	c := Candidate{Offset: p.Offset, DriftPPM: p.DriftPPM, Odds: h.p, Evidence: t.evidence(h)}
	if p.Method == NoMethod {
		c.Offset = h.o
	}
	if !math.IsNaN(p.CueAt) {
		c.ByCue, c.At = true, p.CueAt
		return c
	}
	c.At = p.Clock().File(g.start)
	for i, e := range t.f.Events {
		if t.weight[i] > 0.4 && t.guide(h.o, i) > g.start-0.15 {
			c.At = e.Heard
			break
		}
	}
	return c
}

// doubt says why a placement is not sure; order are the candidates, the likeliest
// first.
func (p *Placement) doubt(t *take, order []int) string {
	began, give := "", "cue_at"
	if h := t.hyps[order[0]]; h.cue < 0 && p.begunLate {
		began, give = "the recording seems to begin after the cue, and ", "offset"
	}
	switch {
	case p.Method == NoMethod && len(t.f.Events) < minNotes:
		return "next to nothing is heard in this file; see that it is the right one, or give cue_at or offset"
	case p.Method == NoMethod:
		return "neither a cue nor enough playing was found; give cue_at or offset"
	case p.Confidence >= sureBar:
		return fmt.Sprintf("%sthis is the right beat, but the notes begin too softly to place them within %.0f ms "+
			"(about %.0f ms); accept it or give %s",
			began, 1000*mostUnsure, 1000*p.Uncertainty, give)
	case len(p.Rivals()) > 1:
		a, b := p.Candidates[0], p.Candidates[1]
		return fmt.Sprintf("%sit could as well lie %.2f s %s (%.0f %% against %.0f %%); accept one of them or give %s",
			began, math.Abs(b.Offset-a.Offset), laterOrEarlier(b.Offset-a.Offset), 100*a.Odds, 100*b.Odds, give)
	}
	return began + "too little speaks for its place; accept it or give " + give
}

// doubtTempo says that the playing fits another tempo, over the guide's, better.
func (p *Placement) doubtTempo(tempo float64) {
	p.Sure, p.Confidence, p.OtherTempo = false, justUnsure, tempo
	p.Reason = fmt.Sprintf("the playing fits a tempo %.1f %% %s than the guide's; see which guide this player heard",
		100*math.Abs(tempo-1), fasterOrSlower(tempo))
}

// doubtBeats says that hardly anything of the playing lies on the guide's beats.
func (p *Placement) doubtBeats() {
	p.Sure, p.Confidence, p.offBeat = false, justUnsure, true
	p.Reason = "the playing hardly lies on the guide's beats; see which guide this player heard"
}

// fasterOrSlower returns the word for a tempo over another.
func fasterOrSlower(factor float64) string {
	if factor < 1 {
		return "slower"
	}
	return "faster"
}
