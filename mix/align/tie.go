package align

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// tie is a sure pair of two takes, by index.
type tie struct {
	a, b  int
	match Match
}

// findTies looks the names of sure pairs up.
func findTies(takes []*take, pairs []Pair) []tie {
	index := map[string]int{}
	for i, t := range takes {
		index[t.rec.Name] = i
	}
	var out []tie
	for _, p := range pairs {
		a, okA := index[p.A]
		b, okB := index[p.B]
		if okA && okB && a != b && p.Match.Sure() {
			out = append(out, tie{a, b, p.Match})
		}
	}
	slices.SortFunc(out, func(x, y tie) int {
		if x.a != y.a {
			return x.a - y.a
		}
		return x.b - y.b
	})
	return out
}

// toB is the placement of b that goes with a at offset o and ppm.
func (x tie) toB(o, ppm float64) (float64, float64) {
	r := 1 + ppm*1e-6
	return o + x.match.OffsetSeconds*r, (r*(1+x.match.DriftPPM*1e-6) - 1) * 1e6
}

// toA is the placement of a that goes with b at offset o and ppm.
func (x tie) toA(o, ppm float64) (float64, float64) {
	r := (1 + ppm*1e-6) / (1 + x.match.DriftPPM*1e-6)
	return o - x.match.OffsetSeconds*r, (r - 1) * 1e6
}

// couple lets the two devices of a player weigh each other's candidates: a
// placement of one is a placement of the other.
func couple(g *grid, takes []*take, ties []tie) {
	for _, x := range ties {
		a, b := takes[x.a], takes[x.b]
		if len(a.hyps) == 0 || len(b.hyps) == 0 || a.given || b.given {
			continue
		}
		ca, cb := newComb(a, g), newComb(b, g)
		ha, hb := slices.Clone(a.hyps), slices.Clone(b.hyps)
		for _, h := range ha {
			o, _ := x.toB(h.o, a.ppm)
			b.hyps = append(b.hyps, b.evaluate(g, cb, o))
		}
		for _, h := range hb {
			o, _ := x.toA(h.o, b.ppm)
			a.hyps = append(a.hyps, a.evaluate(g, ca, o))
		}
		a.prune()
		b.prune()
		share(a, b, x)
	}
}

// share gives matching candidates one score. The two files hold the same
// sounds, so their evidence is not independent: together they count for 1.3
// times one of them, not twice.
func share(a, b *take, x tie) {
	worst := func(t *take) float64 { return t.hyps[len(t.hyps)-1].score }
	sa, sb := make([]float64, len(a.hyps)), make([]float64, len(b.hyps))
	for i, h := range a.hyps {
		o, _ := x.toB(h.o, a.ppm)
		sa[i] = 0.65 * (h.score + partner(b, o, worst(b)))
	}
	for i, h := range b.hyps {
		o, _ := x.toA(h.o, b.ppm)
		sb[i] = 0.65 * (h.score + partner(a, o, worst(a)))
	}
	for i := range a.hyps {
		a.hyps[i].score, a.hyps[i].byCue = sa[i], 1.3*a.hyps[i].byCue
	}
	for i := range b.hyps {
		b.hyps[i].score, b.hyps[i].byCue = sb[i], 1.3*b.hyps[i].byCue
	}
}

func partner(t *take, o, none float64) float64 {
	best := none
	for _, h := range t.hyps {
		if math.Abs(h.o-o) < 0.1 {
			best = math.Max(best, h.score)
		}
	}
	return best
}

// follow makes the devices of a player agree exactly: the one that is known
// better leads, the other is put where the match says.
func follow(g *grid, takes []*take, ties []tie, placed []Placement) {
	for _, x := range ties {
		lead, other := x.a, x.b
		if better(placed[x.b], placed[x.a], takes[x.b], takes[x.a]) {
			lead, other = x.b, x.a
		}
		if takes[other].given {
			continue
		}
		from, to := placed[lead], &placed[other]
		if lead == x.a {
			to.Offset, to.DriftPPM = x.toB(from.Offset, from.DriftPPM)
		} else {
			to.Offset, to.DriftPPM = x.toA(from.Offset, from.DriftPPM)
		}
		if takes[other].rec.DriftPPM != nil {
			to.DriftPPM = *takes[other].rec.DriftPPM
		}
		to.Method = "device"
		to.Confidence = math.Min(from.Confidence, x.match.Confidence)
		to.Sure, to.Reason = from.Sure, from.Reason
		to.Uncertainty = math.Hypot(from.Uncertainty, x.match.Spread)
		to.Lateness = from.Lateness
		if !math.IsNaN(to.CueAt) {
			to.CueOffset = g.cue - to.CueAt*(1+to.DriftPPM*1e-6)
		}
		to.Evidence = append(to.Evidence, fmt.Sprintf("same sound as %s in %d of %d stretches, within %.2f ms, clocks differ by %+.1f ppm",
			strings.TrimSpace(from.Name), x.match.Agree, x.match.Windows, 1000*x.match.Spread, x.match.DriftPPM))
	}
}

// better reports whether a leads b: the user's word, then surety, then the
// smaller uncertainty, then the name.
func better(a, b Placement, ta, tb *take) bool {
	switch {
	case ta.given != tb.given:
		return ta.given
	case a.Sure != b.Sure:
		return a.Sure
	case a.Uncertainty != b.Uncertainty:
		return a.Uncertainty < b.Uncertainty
	}
	return a.Name < b.Name
}
