package align

import (
	"math"
	"slices"
)

// search fills t.hyps: every placement worth weighing.
func (t *take) search(g *grid) {
	if len(t.f.Events) == 0 {
		return
	}
	t.look(g)
	if t.part == nil {
		return
	}
	plain := *t
	plain.part, plain.hyps = nil, nil
	plain.look(g)
	if !t.part.follows(g, t, t.hyps[0].o) || plain.objects(t.hyps[0].o) {
		*t = plain
	}
}

// objects reports whether a take, heard without its score, has its cue clearly
// elsewhere than at o: then somebody gave it another player's part, whose rhythm
// may well fit half a beat off.
func (t *take) objects(o float64) bool {
	t.normalise()
	return t.hyps[0].cue >= 0 && t.hyps[0].p > 0.9 && math.Abs(t.hyps[0].o-o) > 2*clapSigma
}

// look is one search, with what is written of the part or without.
func (t *take) look(g *grid) {
	c := newComb(t, g)
	if t.rec.DriftPPM == nil {
		t.ppm = c.bestDrift()
	}
	var offsets []float64
	if !math.IsNaN(g.cue) {
		for i, r := range t.rank {
			if r <= 120 {
				offsets = append(offsets, g.cue-t.f.Events[i].Time*(1+t.ppm*1e-6))
			}
		}
	}
	offsets = append(offsets, c.peaks(150)...)
	for _, o := range offsets {
		t.hyps = append(t.hyps, t.evaluate(g, c, o))
	}
	t.prune()
}

// evaluate weighs the placement near o: the playing may lie up to 90 ms from
// it, and any cue-like event within 130 ms of the cue's place may be the cue.
func (t *take) evaluate(g *grid, c *comb, o float64) hyp {
	best := hyp{score: math.Inf(-1)}
	try := func(h hyp, from, to float64) {
		mu := c.profile(h.o, from, to)
		h.o += mu
		if t.part != nil {
			h.terms[scoreFit], h.terms[missed] = t.part.fit(g, t, h.o)
		} else {
			h.terms[gridFit], h.terms[gridShare], _ = t.gridScore(g, h.o)
		}
		h.terms[gridShift] = t.shift(g, &h)
		t.rest(g, &h)
		t.meter(g, &h)
		h.score, h.byCue = h.terms.weighed(), h.terms.byCuePart()
		if h.score > best.score {
			best = h
		}
	}
	none := hyp{cue: -1, stray: -1, o: o}
	if g.cue-o > 0.1 && g.cue-o < t.f.Duration {
		none.terms[cueMissing] = 1
	}
	try(none, -0.06, 0.06)
	if math.IsNaN(g.cue) {
		return best
	}
	if i := t.astray(g, o); i >= 0 {
		h := hyp{cue: -1, stray: i, o: o}
		t.cueTerms(i, &h.terms)
		h.terms[cueAstray] = 1
		try(h, -0.06, 0.06)
	}
	for i := range t.f.Events {
		if d := t.guide(o, i) - g.cue; math.Abs(d) < 0.11 && t.rank[i] <= 400 {
			at := o - d
			h := hyp{cue: i, stray: -1, o: at}
			t.cueTerms(i, &h.terms)
			try(h, -0.09, 0.09)
		}
	}
	return best
}

// shift says how unusual it is that the cue of h lies as far from the playing
// as it does; a cue given on another beat is held against that beat.
func (t *take) shift(g *grid, h *hyp) float64 {
	switch {
	case h.cue >= 0:
		return unusual((t.guide(h.o, h.cue) - g.cue) / clapSigma)
	case h.stray >= 0:
		at := t.guide(h.o, h.stray)
		return unusual((at - g.beatNear(at)) / clapSigma)
	}
	return 0
}

// unusual is the negative log likelihood, without its constant, of a deviation
// of z sigmas under Student's distribution with four degrees of freedom: people
// are off by a lot now and then, which a Gaussian would not believe.
func unusual(z float64) float64 { return 2.5 * math.Log1p(z*z/4) }

// prune keeps the best of every 50 ms and at most 60 candidates.
func (t *take) prune() {
	slices.SortFunc(t.hyps, func(a, b hyp) int {
		switch {
		case a.score > b.score:
			return -1
		case a.score < b.score:
			return 1
		case a.o < b.o:
			return -1
		case a.o > b.o:
			return 1
		}
		return 0
	})
	var keep []hyp
	for _, h := range t.hyps {
		near := slices.ContainsFunc(keep, func(k hyp) bool { return math.Abs(k.o-h.o) < 0.05 })
		if !near && len(keep) < 60 {
			keep = append(keep, h)
		}
	}
	t.hyps = keep
}

// comb scans offsets quickly with fixed shares of the slot classes.
type comb struct {
	t      *take
	g      *grid
	table  []float32
	at     []float64 // event times, of the events that matter
	weight []float64
}

func newComb(t *take, g *grid) *comb {
	c := &comb{t: t, g: g, table: g.usual}
	if t.part != nil {
		c.table = t.part.log
	}
	for i, e := range t.f.Events {
		if t.weight[i] > 0.15 {
			c.at = append(c.at, e.Time)
			c.weight = append(c.weight, t.weight[i])
		}
	}
	return c
}

// sum is the comb's value at offset o on a clock of ratio.
func (c *comb) sum(o, ratio float64) float64 {
	var s float64
	base := o - c.g.origin
	n := len(c.table)
	for k, at := range c.at {
		if i := int((base+at*ratio)*(1/gridStep) + 0.5); i >= 0 && i < n {
			s += c.weight[k] * float64(c.table[i])
		}
	}
	return s
}

// limits are the offsets at which at least some events lie in the music.
func (c *comb) limits() (from, to float64) {
	if len(c.at) == 0 {
		return 0, -1
	}
	last, first := c.at[len(c.at)-1], c.at[0]
	return math.Max(c.g.start-last, -900), math.Min(c.g.end-first, 900)
}

const combStep = 0.008

// bestDrift is the clock that lets the comb stand out most, 0 unless another
// is clearly better: the search only needs the playing to stay within a
// player's scatter from the beginning of a file to its end.
func (c *comb) bestDrift() float64 {
	if c.t.f.Duration < 60 {
		return 0
	}
	from, to := c.limits()
	some := *c
	if n := len(c.at); n > 240 {
		some.at, some.weight = nil, nil
		for i := range 240 { // spread evenly: enough for a clock
			some.at = append(some.at, c.at[i*n/240])
			some.weight = append(some.weight, c.weight[i*n/240])
		}
	}
	best, at := 0.0, 0.0
	for _, ppm := range []float64{0, -150, 150, -300, 300, -450, 450, -600, 600} {
		top := 0.0
		for o := from; o <= to; o += 2 * combStep {
			top = math.Max(top, some.sum(o, 1+ppm*1e-6))
		}
		if ppm != 0 {
			top -= 4 + math.Abs(ppm)/50
		}
		if top > best {
			best, at = top, ppm
		}
	}
	return at
}

// peaks are the offsets of the n highest local maxima.
func (c *comb) peaks(n int) []float64 {
	from, to := c.limits()
	ratio := 1 + c.t.ppm*1e-6
	type peak struct{ o, v float64 }
	var all []peak
	a, b := math.Inf(-1), math.Inf(-1)
	for o := from; o <= to+combStep; o += combStep {
		v := c.sum(o, ratio)
		if b > a && b >= v && b > 0 {
			all = append(all, peak{o - combStep, b})
		}
		a, b = b, v
	}
	slices.SortStableFunc(all, func(p, q peak) int {
		switch {
		case p.v > q.v:
			return -1
		case p.v < q.v:
			return 1
		}
		return 0
	})
	var out []float64
	for _, p := range all[:min(n, len(all))] {
		out = append(out, p.o)
	}
	return out
}

// profile finds by how much the playing lies off o, with a prior for the
// clap's and the player's own error.
func (c *comb) profile(o, from, to float64) (mu float64) {
	ratio := 1 + c.t.ppm*1e-6
	best := math.Inf(-1)
	for m := from; m <= to+1e-9; m += 0.006 {
		if v := 0.4*c.sum(o+m, ratio) - m*m/(2*clapSigma*clapSigma); v > best {
			best, mu = v, m
		}
	}
	return mu
}

// clapSigma is how far a clap may lie from the player's mean timing, seconds
// (one standard deviation): tens of milliseconds.
const clapSigma = 0.03
