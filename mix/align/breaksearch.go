package align

import (
	"cmp"
	"math"
	"slices"
)

// edges returns guide times of the base place at which a second part may begin.
func (s *breakScan) edges() []float64 {
	var all []float64
	step := s.edgeStep()
	for at := s.from; at <= s.to; at += step {
		all = append(all, at)
	}
	return all
}

// edgeStep returns how far edges are apart, seconds.
func (s *breakScan) edgeStep() float64 {
	return math.Max(breakEdge, (s.to-s.from)/breakEdges)
}

// shift is a displacement that is tried, and by how much it may be off, in seconds.
type shift struct{ by, off float64 }

// shifts returns the displacements that are tried: near ones closely.
func shifts() []shift {
	var all []shift
	for d := breakLeast; d < breakReach; {
		step := breakStep
		if d > 1 {
			step *= 4
		}
		all = append(all, shift{d, step / 2}, shift{-d, step / 2})
		d += step
	}
	return all
}

// likely returns the likeliest splits, as far as the phases of the two parts, each by
// itself, and the harmony of the others tell: those anywhere, then those at a splice.
func (s *breakScan) likely() []split {
	edges := s.edges()
	for _, x := range s.splices {
		edges = append(edges, s.edgeAt(x.at))
	}
	order := make([]int, len(edges))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(edges[a], edges[b]) })
	sorted := make([]float64, len(edges))
	for i, k := range order {
		sorted[i] = edges[k]
	}
	beatwise := s.phaseShifts(sorted)
	var anywhere, spliced []split
	for i, k := range order {
		if n := k - (len(edges) - len(s.splices)); n < 0 {
			anywhere = append(anywhere, s.promising(split{edge: sorted[i]}, &beatwise[i])...)
		} else {
			x := split{edge: sorted[i], by: "splice", at: s.splices[n].at, over: s.splices[n].over}
			spliced = append(spliced, s.promising(x, &beatwise[i])...)
		}
	}
	return append(distinct(anywhere), distinct(spliced)...)
}

// promising returns the splits at the edge of x that may be likelier than one piece, as far
// as can be told quickly; beatwise are the shifts of phase there.
func (s *breakScan) promising(x split, beatwise *beatProfile) []split {
	var all []split
	none, weight, beat, at := s.hear(0), s.weight(), s.beatAt(x.edge), s.frames(x.edge)
	base := breakHarmonyFar * none.sum[len(none.sum)-1]
	for _, d := range shifts() {
		v := breakBlurred*beatwise.most((d.by-d.off)/beat, (d.by+d.off)/beat) - jumpPrior(d.by)
		ahead, back := s.hear(d.by), s.hear(-d.by)
		try := func(y split, cut, edge int) {
			y.v = v + weight*(none.with(ahead, none, cut, edge)-base)
			if y.last = d.by; y.v > 0 {
				all = append(all, y)
			}
			y.v = v + weight*(back.with(none, none, cut, edge)-base)
			if y.first, y.last = -d.by, 0; y.v > 0 {
				all = append(all, y)
			}
		}
		cut := at
		if d.by < 0 {
			cut = s.frames(x.edge + d.by)
			if x.by == "splice" { // what is too much may as well come after it
				y := x
				y.edge, y.extra = x.edge-d.by, true
				try(y, at, s.frames(y.edge))
			}
		}
		try(x, cut, at)
	}
	return all
}

// distinct returns the best of some splits, one of each jump.
func distinct(all []split) []split {
	slices.SortStableFunc(all, func(a, b split) int { return cmp.Compare(b.v, a.v) })
	var out []split
	for _, x := range all {
		if len(out) == breakPeaks {
			break
		}
		if !slices.ContainsFunc(out, func(y split) bool {
			return math.Abs(x.jump()-y.jump()) < breakApart && (x.first == 0) == (y.first == 0)
		}) {
			out = append(out, x)
		}
	}
	return out
}

// most returns the largest value between two places, in beats.
func (p *beatProfile) most(from, to float64) float64 {
	best := math.Inf(-1)
	for k := int(math.Round(from * breakBins)); k <= int(math.Round(to*breakBins)); k++ {
		best = math.Max(best, p[(k%breakBins+breakBins)%breakBins])
	}
	return best
}

// phaseShifts returns, for every one of edges, which are in order of time, by how many nats each
// displacement of the second part, in bins of a beat, is likelier than none by the other part's profile.
func (s *breakScan) phaseShifts(edges []float64) []beatProfile {
	out := make([]beatProfile, len(edges))
	for i := range s.strands {
		r := &s.strands[i]
		all, first := make([]float64, s.p.beats*breakBins), make([]float64, s.p.beats*breakBins)
		r.fold(s.p, all, section{}, 0, len(r.at))
		whole := oneBeat(all)
		done := 0
		for e, edge := range edges {
			_, to := r.between(section{from: math.Inf(-1), to: edge})
			r.fold(s.p, first, section{}, done, to)
			done = to
			before := oneBeat(first)
			after := whole
			for k := range after {
				after[k] -= before[k]
			}
			p, q := r.profile(&before), r.profile(&after)
			var v beatProfile
			for x := range v {
				for k := range breakBins {
					v[x] += after[k]*p[(k+x)%breakBins] + before[k]*q[(k-x+breakBins)%breakBins]
				}
			}
			for x := range v {
				out[e][x] += r.nats * (v[x] - v[0])
			}
		}
	}
	return out
}

// jumpPrior returns by how many nats a jump is less likely than one of a tenth of a second:
// small ones are as common as ones twice as large.
func jumpPrior(d float64) float64 { return math.Log(math.Max(0.03, math.Abs(d)) / 0.1) }

// jumpCost returns by how many nats the jump of a split is less likely than others.
func (s *breakScan) jumpCost(x split) float64 {
	cost := jumpPrior(x.jump())
	x.scan = s
	if x.putsIn() {
		cost += breakPutIn
	}
	return cost
}

// putsIn reports whether a split takes sound for put in: more than half of what is in no part
// is not digitally silent.
func (x split) putsIn() bool {
	return x.jump() < 0 && x.scan.silent(x.scan.extraFrom(x), x.edge) < 0.5
}

// silent returns which share of the file between two guide times of the base place is digitally silent.
func (s *breakScan) silent(from, to float64) float64 {
	f, clock := s.t.f, s.t.ratio()
	first, last := int((from-s.o)/clock/levelHop), int((to-s.o)/clock/levelHop)
	most, n := s.silenceBelow(), 0
	for i := max(0, first); i < min(last, len(f.Level)); i++ {
		if float64(f.Level[i])/2-120 <= most {
			n++
		}
	}
	return float64(n) / math.Max(1, float64(last-first))
}

// silenceBelow returns the level in dBFS up to which the file is digitally silent.
func (s *breakScan) silenceBelow() float64 { return min(breakSilence, s.quiet-10) }

// noise returns the level in dBFS that nine tenths of what is not digitally silent exceed.
func (f *Features) noise() float64 {
	var some []uint8
	for _, v := range f.Level {
		if float64(v)/2-120 > breakSilence {
			some = append(some, v)
		}
	}
	noise, _ := quantiles(some)
	return noise
}

// tunedBest returns those of some splits that may be the best or the next when they are
// weighed closely; whole is how likely the file is in one piece.
func (s *breakScan) tunedBest(list []split, whole float64) []split {
	for i := range list {
		list[i].v = s.weighed(list[i])
	}
	slices.SortStableFunc(list, func(a, b split) int { return cmp.Compare(b.v, a.v) })
	best := whole
	for i := range list {
		// What is near by gains a part of what it says by lying exactly.
		if i > 0 && list[i].v < best-breakFar-breakBlurred*(best-whole) {
			return list[:i]
		}
		list[i] = s.tuned(list[i])
		best = math.Max(best, list[i].v)
	}
	return list
}

// tuned moves the edge and one part of a split to where they fit best. A splice keeps its
// place.
func (s *breakScan) tuned(x split) split {
	best := x
	best.v = s.weighed(x)
	try := func(y split) {
		if y.extra {
			y.edge = x.edge + x.jump() - y.jump()
		}
		if y.v = s.weighed(y); y.v > best.v {
			best = y
		}
	}
	reach := s.edgeStep()
	for range 2 {
		around := best
		for d := -reach; d <= reach && x.over == 0; d += math.Max(breakFine, reach/12) {
			y := around
			y.edge = math.Max(s.from, math.Min(s.to, y.edge+d))
			try(y)
		}
		around = best
		for j := -5; j <= 5; j++ {
			y := around
			if x.first == 0 {
				y.last += float64(j) * breakStep
			} else {
				y.first += float64(j) * breakStep
			}
			try(y)
		}
		reach = math.Max(breakEdge, reach/4)
	}
	return best
}

// sharpened returns a split whose jump lies at the top of a parabola through its
// likelihood and that of its neighbours.
func (s *breakScan) sharpened(x split) split {
	v := func(d float64) float64 {
		y := x
		if y.last += d; y.extra {
			y.edge -= d
		}
		return s.weighed(y)
	}
	const step = 2 * breakStep
	before, at, after := v(-step), v(0), v(step)
	if bend := 2*at - before - after; bend > 0 {
		x.last += math.Max(-step, math.Min(step, step*(after-before)/2/bend))
	}
	return x
}
