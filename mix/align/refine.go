package align

import (
	"fmt"
	"math"
)

// playing is how the notes lie against the grid round a placement.
type playing struct {
	n       int
	mu      float64 // mean lateness at mid, seconds
	err     float64 // its standard error
	slope   float64 // change of lateness, ppm of guide time
	slopErr float64
	mid     float64 // guide time at which mu holds
	span    float64 // guide seconds from the first to the last note used
	sigma   float64 // scatter of single notes
	doubt   float64 // by how much its notes may be heard early or late as a whole, seconds
}

// minNotes is how many notes a placement by the playing needs at least.
const minNotes = 4

// refine measures the playing round o: robustly, with slow attacks counting
// less, against the places between the beats that this player uses.
func (t *take) refine(g *grid, o float64, leak clicks) playing {
	_, _, pi := t.gridScore(g, o)
	var use [classes]bool
	for c, share := range pi {
		use[c] = share > 0.06
	}
	least := t.leastWeight(g, o)
	p := playing{err: math.Inf(1), slopErr: math.Inf(1)}
	gentle := t.gentle(o, g.start-0.12, g.end)
	var l line
	// The second pass assigns the notes anew, round what the first found.
	for range 2 {
		var x, y, w []float64
		var doubts, weights float64
		for i, e := range t.f.Events {
			at := t.guide(o, i)
			if t.weight[i] < least || at < g.start-0.12 || at > g.end+0.1 || leak.holds(g, e, at) {
				continue
			}
			late, doubt := e.late(gentle)
			at -= late
			shift := 0.0
			if p.n > 0 {
				shift = l.value(at)
			}
			want := t.expected(g, at-shift, use)
			if !(math.Abs(at-shift-want) <= 0.09) {
				continue
			}
			weight := t.weight[i] * e.trust()
			x, y, w = append(x, at), append(y, at-want), append(w, weight)
			doubts, weights = doubts+weight*doubt, weights+weight
		}
		if len(x) < minNotes {
			return p
		}
		p.n, p.span, p.doubt = len(x), x[len(x)-1]-x[0], doubts/weights
		l = fitLine(x, y, w, 0.004)
		if p.n < 12 || p.span < 20 {
			l = level(y, w)
		}
	}
	p.mid, p.mu = l.mean, l.value(l.mean)
	// Few notes tell little of their own scatter: mix in four of 20 ms, what
	// a player against a click usually has.
	n := float64(p.n)
	p.sigma = math.Sqrt((n*l.sigma*l.sigma + 4*0.02*0.02) / (n + 4))
	more := 1.3 * p.sigma / math.Max(l.sigma, 1e-6) // neighbouring notes go together
	p.slope, p.slopErr = l.slope*1e6, more*l.slopeErr*1e6
	p.err = math.Hypot(math.Hypot(more*l.atErr, 0.002), math.Hypot(p.doubt, scatterDoubt*math.Max(0, p.sigma-gridSigma)))
	return p
}

// leastWeight is the weight below which an event counts for no note when the
// file lies at o. Faint events may be clicks from headphones or the room: they
// count only when there are not enough clear notes.
func (t *take) leastWeight(g *grid, o float64) float64 {
	plain := 0
	for i := range t.f.Events {
		if at := t.guide(o, i); t.weight[i] > 0.7 && at > g.start-0.12 && at < g.end {
			plain++
		}
	}
	if plain >= 6 {
		return 0.5
	}
	return 0.2
}

// expected is the guide time nearest to one at which a note should begin; NaN
// where there is none.
func (t *take) expected(g *grid, guide float64, use [classes]bool) float64 {
	if t.part != nil {
		return t.part.nearest(guide)
	}
	if s := g.nearestOf(guide, use); s != nil {
		return s.at
	}
	return math.NaN()
}

// scatterDoubt is how much of the scatter that goes beyond a player's may be a
// shift of all notes: some of them were taken for the places beside theirs.
const scatterDoubt = 0.6

// level is a line without slope through values with weights.
func level(y, w []float64) line {
	x := make([]float64, len(y))
	return fitLine(x, y, w, 0.004)
}

// drift is the correction to a take's clock that the playing shows: none where
// there is too little of it.
func (p playing) drift(t *take) float64 {
	if t.rec.DriftPPM != nil || p.n < 24 || p.span < 40 {
		return 0
	}
	if math.Abs(p.slope) > 3*p.slopErr {
		return -p.slope
	}
	if p.slopErr > 30 {
		return 0
	}
	// Clocks of consumer devices scatter by some 40 ppm; a measurement counts
	// as far as it beats that.
	return -p.slope * 40 * 40 / (40*40 + p.slopErr*p.slopErr)
}

// settle writes the numbers of the placement.
func (p *Placement) settle(g *grid, t *take, h hyp, fit playing) {
	p.DriftPPM, p.Offset = t.ppm, h.o
	drift := fit.drift(t)
	if drift != 0 || t.ppm != 0 {
		// The lateness grows by slope: a clock that runs faster by as much
		// takes it away, pivoting where the lateness was measured.
		mid := (fit.mid - h.o) / (1 + t.ppm*1e-6)
		p.Offset -= drift * 1e-6 * mid
		p.DriftPPM = t.ppm + drift
	}
	if h.cue >= 0 {
		p.CueAt = t.f.Events[h.cue].Time
		p.CueOffset = g.cue - p.CueAt*(1+p.DriftPPM*1e-6)
	}
	p.blend(h, fit)
}

// mostLate is how far from its cue the playing is placed at the most, seconds.
// Of 810 simulated files seven had more between the two, and in four of these
// the cue was none or the notes were counted for others: such a file is never
// sure.
const mostLate = 0.06

// blend joins the cue and the playing, each by how well it tells where the
// player's mean timing lies.
func (p *Placement) blend(h hyp, fit playing) {
	byPlay, playErr := p.Offset-fit.mu, fit.err
	switch {
	case fit.n < minNotes && h.cue < 0:
		p.Method, p.Uncertainty = "none", math.Inf(1)
	case fit.n < minNotes:
		p.Method, p.Offset, p.Uncertainty = "cue", p.CueOffset, clapSigma
	case h.cue < 0:
		p.Method, p.Offset, p.Uncertainty = "playing", byPlay, playErr
	default:
		p.Method = "cue+playing"
		a, b := 1/(playErr*playErr), 1/(clapSigma*clapSigma)
		p.Offset = (byPlay*a + p.CueOffset*b) / (a + b)
		p.Offset = math.Max(p.CueOffset-mostLate, math.Min(p.CueOffset+mostLate, p.Offset))
		p.Lateness = p.CueOffset - byPlay
		p.Uncertainty = 1 / math.Sqrt(a+b)
	}
}

// sureBar is the least confidence at which a file is placed without asking. Of
// simulated files between 0.98 and 0.99 one in twenty was wrong, of those above
// none of 633.
const sureBar = 0.99

// judge says how sure the placement is, from what it rests on.
func (p *Placement) judge(t *take, best int, fit playing) {
	h := t.hyps[best]
	second := -1
	for i, o := range t.hyps {
		if i != best && (second < 0 || o.p > t.hyps[second].p) {
			second = i
		}
	}
	rival, margin := t.rival(best)
	right := doubted(h.p, alone(fit.n, margin))
	apart := math.Abs(p.Lateness) > mostLate
	if apart || margin < 0 && t.faint(h) {
		right = math.Min(right, justUnsure)
	}
	p.Confidence = right
	if p.Method != "cue" && p.Uncertainty > 0 {
		p.Confidence *= 1 - math.Erfc(0.03/(p.Uncertainty*math.Sqrt2))
	}
	p.Sure = p.Confidence >= sureBar && p.Method != "none"
	if h.cue >= 0 {
		e := t.f.Events[h.cue]
		p.Evidence = append(p.Evidence, fmt.Sprintf("cue at %.3f s, %.0f dB above the sound before it, number %d of the file's candidates", e.Time, e.Level-e.Before, t.rank[h.cue]))
	}
	if h.stray >= 0 {
		p.Evidence = append(p.Evidence, fmt.Sprintf("something like a cue at %.3f s, which is on another beat of the count-in", t.f.Events[h.stray].Time))
	}
	if fit.n >= minNotes {
		p.Evidence = append(p.Evidence, fmt.Sprintf("%d notes scatter by %.0f ms about the beats", fit.n, 1000*fit.sigma))
	}
	if !math.IsNaN(p.Lateness) {
		p.Evidence = append(p.Evidence, fmt.Sprintf("the playing is %.0f ms %s against the cue", math.Abs(1000*p.Lateness), lateOrEarly(p.Lateness)))
	}
	switch {
	case t.part != nil:
		p.Evidence = append(p.Evidence, "the notes begin where the score has them")
	case len(t.rec.Onsets) > 0:
		p.Evidence = append(p.Evidence, "the notes do not follow the part in the score, which was left aside")
	}
	if h.r != 0 {
		p.Evidence = append(p.Evidence, fmt.Sprintf("the rhythm agrees with the other takes by %.2f of 1", math.Round(100*h.r)/100+0)) // no "-0.00"
	}
	switch {
	case p.Sure:
	case h.p >= sureBar && apart:
		p.Reason = fmt.Sprintf("the playing is %.0f ms %s against what seems to be the cue, more than a clap and a player are off together; listen for the cue and give cue_at",
			math.Abs(1000*p.Lateness), lateOrEarly(p.Lateness))
	case h.cue >= 0 && h.p >= sureBar && right < sureBar:
		p.Reason = t.cueOnly(best, rival)
	default:
		p.Reason = p.doubt(t, h, second, fit)
	}
}

// doubt says why a placement is not sure and what a person can do about it;
// second is the index of the next best candidate, -1 without one.
func (p *Placement) doubt(t *take, h hyp, second int, fit playing) string {
	what := "listen for the cue and give cue_at"
	began := ""
	if h.cue < 0 && h.terms[coverLate] > 1 {
		// There is no cue to listen for.
		began, what = "the recording seems to begin after the cue, and ", "find a note that you know and give offset"
	}
	switch {
	case p.Method == "none" && len(t.f.Events) < minNotes:
		return "next to nothing is heard in this file; see that it is the right one, or give cue_at or offset"
	case p.Method == "none":
		return "neither a cue nor enough playing was found; give cue_at or offset"
	case second >= 0 && h.p < max(sureBar, p.Confidence/h.p):
		return fmt.Sprintf("%sit could as well lie %.2f s %s (%.0f %% against %.0f %%); %s", began,
			math.Abs(t.hyps[second].o-h.o), laterOrEarlier(t.hyps[second].o-h.o), 100*h.p, 100*t.hyps[second].p, what)
	case fit.n < 8:
		return fmt.Sprintf("%s%d notes are too few to place it within 30 ms (about %.0f ms); %s", began, fit.n, 1000*p.Uncertainty, what)
	}
	return fmt.Sprintf("%sthe notes begin too softly to place them within 30 ms (about %.0f ms); %s", began, 1000*p.Uncertainty, what)
}

func lateOrEarly(s float64) string {
	if s < 0 {
		return "early"
	}
	return "late"
}

func laterOrEarlier(s float64) string {
	if s < 0 {
		return "earlier"
	}
	return "later"
}
