package align

import "math"

// cueTerms says what finding event i at the cue's place is worth: by chance an
// event of rank r lies within ±0.13 s of it at a rate of r per duration of the
// file; and few cues are as poor as the poorest events.
func (t *take) cueTerms(i int, x *terms) {
	span := math.Max(20, t.f.Duration)
	x[cueRank] = math.Log(span / (0.26 * float64(t.rank[i])))
	x[cueQuality] = math.Max(-8, math.Min(3, t.like[i]))
}

// astray looks for a cue given on a wrong beat of the count-in, when the file
// lies at o: the most cue-like event on one, -1 without any.
func (t *take) astray(g *grid, o float64) int {
	best := -1
	for i := range t.f.Events {
		at := t.guide(o, i)
		if t.like[i] < -6 || at < -0.1 || at > g.start-0.3 || math.Abs(at-g.cue) < 0.15 {
			continue
		}
		if b := g.beatNear(at); math.Abs(at-b) < 0.08 && b < g.start-0.1 && (best < 0 || t.rank[i] < t.rank[best]) {
			best = i
		}
	}
	return best
}

// rest adds the terms that depend on the placement but not on the fine fit.
// The cue's event is not counted against the quiet of the count-in, and
// neither are clicks that leaked into it.
func (t *take) rest(g *grid, h *hyp) {
	o, x := h.o, &h.terms
	h.clicks = t.leak(g, h)
	x[bleed] = h.odds
	if h.odds >= clicksHeard {
		x[bleedShift] = unusual(h.late / clickSigma)
	}
	quietFrom, quietTo := g.cue+0.2, g.start-0.35
	var quiet, tooEarly, after float64
	lead := math.Max(0.5, 2.2*g.startBeat().Length)
	var firsts []float64
	last := math.NaN()
	x[empty] = 1
	for i := range t.f.Events {
		at, w := t.guide(o, i), t.weight[i]
		if i == h.cue || i == h.stray || h.holds(g, t.f.Events[i], at) {
			continue
		}
		if at > quietFrom && at < g.end {
			x[strangers] += math.Max(0, math.Min(3, 1+t.like[i]))
		}
		if w > 0.4 && at > math.Max(quietFrom, g.start-lead) && at < g.start-0.2 && g.onPulse(at) {
			tooEarly += w
		}
		switch {
		case at > quietFrom && at < quietTo:
			quiet += w
		case at > g.end-0.1 && at < g.end+math.Min(1.6, 4*g.beats[len(g.beats)-1].Length):
			after += w
		}
		if w > 0.4 && at >= quietTo && len(firsts) < 3 {
			firsts = append(firsts, at)
		}
		if w > 0.3 && at >= quietTo && at < g.end+0.3 {
			last = at
			x[empty] = 0
		}
	}
	if !math.IsNaN(g.cue) {
		x[strangers] = math.Min(6, x[strangers])
		x[quietBreak], x[early] = math.Min(4.5, quiet), math.Min(3, tooEarly)
	}
	x[overrun] = math.Min(4, after)
	t.cover(g, h, last)
	if t.part != nil {
		return // what is written says better where a part comes in
	}
	x[entry] = entryScore(g, math.NaN())
	for k, at := range firsts {
		// A creak before the first note must not hide that the note itself
		// comes just right.
		x[entry] = math.Max(x[entry], entryScore(g, at)-1.5*float64(k))
	}
}

// cover adds the terms for how the file's ends lie against the piece; last is
// the guide time of the last note, NaN without any.
func (t *take) cover(g *grid, h *hyp, last float64) {
	o, x := h.o, &h.terms
	fileEnd := o + t.f.Duration
	if fileEnd > g.end+0.3 && !math.IsNaN(last) && t.part == nil {
		b := g.beats[len(g.beats)-1]
		if g.end-last < 6*b.Length {
			x[lastNote] = 1
		} else {
			x[lastNote] = -1
		}
	}
	switch {
	case o > g.start:
		x[coverLate] = 4
	case o > g.cue:
		x[coverLate] = 2.5
	case o > 0:
		x[coverLate] = 1
	}
	if fileEnd < g.end-0.2 {
		x[coverEnd] = 1
	}
}

// meter adds the terms that tell one beat from another: notes begin more
// often on downbeats, and parts come in again on downbeats after a rest.
func (t *take) meter(g *grid, h *hyp) {
	if t.part != nil {
		return
	}
	var down, beats, expect, weight float64
	var in, out float64
	lastAt := math.Inf(-1)
	for i := range t.f.Events {
		at, w := t.guide(h.o, i), t.weight[i]
		if w < 0.3 || at < g.start-0.1 || at > g.end || h.holds(g, t.f.Events[i], at) {
			continue
		}
		s := g.nearest(at)
		b := g.beats[s.beat]
		isDown := s.class == onBeat && b.Downbeat
		if math.Abs(at-s.at) < 0.08 && s.class == onBeat {
			p := 1 / float64(g.measureLen[s.beat])
			beats += w
			expect += p * w
			weight += p * (1 - p) * w
			if isDown {
				down += w
			}
		}
		if at-lastAt > 1.2*b.Length*float64(g.measureLen[s.beat]) && at > g.start+0.5 {
			if isDown {
				in++
			} else {
				out++
			}
		}
		lastAt = at
	}
	if weight > 0.5 {
		h.terms[downbeats] = math.Max(-6, math.Min(6, (down-expect)/math.Sqrt(weight)))
	}
	h.terms[phrases] = math.Max(-5, math.Min(5, in-out))
}

// entryScore is the log probability of a first note at a guide time: most
// parts begin with the piece, the others mostly at the start of a measure.
func entryScore(g *grid, entry float64) float64 {
	if math.IsNaN(entry) || entry > g.end {
		return math.Log(0.01)
	}
	if math.Abs(entry-g.start) < 0.14 {
		return math.Log(0.55)
	}
	s := g.nearest(entry)
	if s == nil {
		return math.Log(0.02)
	}
	b := g.beats[s.beat]
	far := math.Abs(entry-s.at) > 0.12
	switch {
	case far || entry < g.start-0.14:
		return math.Log(0.01)
	case b.Downbeat && s.class == onBeat:
		return math.Log(0.15)
	case s.class == onBeat:
		return math.Log(0.05)
	case s.beat < len(g.beats) && entry < g.start+b.Length:
		return math.Log(0.12) // an off-beat part beginning with the piece
	}
	return math.Log(0.025)
}
