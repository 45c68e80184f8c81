package align

import (
	"fmt"
	"math"
	"ripieno/mix/audio"
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

// toB returns the placement of b that goes with a at offset o and ppm.
func (x tie) toB(o, ppm float64) (float64, float64) {
	r := audio.PPM(ppm).Ratio()
	return o + x.match.OffsetSeconds*r, (r*audio.PPM(x.match.DriftPPM).Ratio() - 1) * 1e6
}

// toA returns the placement of a that goes with b at offset o and ppm.
func (x tie) toA(o, ppm float64) (float64, float64) {
	r := audio.PPM(ppm).Ratio() / audio.PPM(x.match.DriftPPM).Ratio()
	return o - x.match.OffsetSeconds*r, (r - 1) * 1e6
}

// couple lets the two devices of a player weigh each other's candidates: a
// place of one is a place of the other.
func couple(g *grid, takes []*take, ties []tie) {
	for _, x := range ties {
		a, b := takes[x.a], takes[x.b]
		if len(a.hyps) == 0 || len(b.hyps) == 0 || a.given || b.given {
			continue
		}
		ha, hb := slices.Clone(a.hyps), slices.Clone(b.hyps)
		for _, h := range ha {
			o, _ := x.toB(h.o, a.ppm)
			b.hyps = append(b.hyps, b.hypothesis(g, o))
		}
		for _, h := range hb {
			o, _ := x.toA(h.o, b.ppm)
			a.hyps = append(a.hyps, a.hypothesis(g, o))
		}
		introduce(a, b, x)
		share(g, a, b, x)
		a.prune()
		b.prune()
	}
}

// share gives matching candidates the mean of their terms, but the better of
// their claps: one of the devices may have been switched on after it.
func share(g *grid, a, b *take, x tie) {
	ta, tb := make([]terms, len(a.hyps)), make([]terms, len(b.hyps))
	for i, h := range a.hyps {
		o, _ := x.toB(h.o, a.ppm)
		ta[i] = joint(h.terms, b.hypothesis(g, o).terms)
	}
	for i, h := range b.hyps {
		o, _ := x.toA(h.o, b.ppm)
		tb[i] = joint(h.terms, a.hypothesis(g, o).terms)
	}
	for i := range a.hyps {
		a.hyps[i].terms, a.hyps[i].score = ta[i], ta[i].weighed()
	}
	for i := range b.hyps {
		b.hyps[i].terms, b.hyps[i].score = tb[i], tb[i].weighed()
	}
}

// joint returns what two devices of one player say of a place together.
func joint(a, b terms) terms {
	var x terms
	for i := range x {
		x[i] = (a[i] + b[i]) / 2
	}
	cue := a
	if b.cueScore() > a.cueScore() {
		cue = b
	}
	for _, k := range [...]int{cueRank, cueQuality, cueAlone} {
		x[k] = cue[k]
	}
	x[burst] = max(a[burst], b[burst])
	return x
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
		apart := x.apart(placed)
		if !placed[lead].Sure && placed[other].Sure && !placed[lead].takeSurety(placed[other], apart) &&
			apart <= samePlace {
			// Where the two found different places nobody is sure: were the other to lead, one more take
			// that makes the first sure would move both.
			lead, other = other, lead
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
		to.Method = ByDevice
		to.Confidence = math.Min(from.Confidence, x.match.Confidence)
		to.Sure, to.Reason = from.Sure, from.Reason
		to.Uncertainty = math.Hypot(from.Uncertainty, x.match.Spread)
		to.Lateness = from.Lateness
		if !math.IsNaN(to.CueAt) {
			to.CueOffset = g.cue - to.CueAt*audio.PPM(to.DriftPPM).Ratio()
		}
		to.split = from.split
		to.doubtSplit()
		to.Evidence = append(to.Evidence,
			fmt.Sprintf("same sound as %s in %d of %d stretches, within %.2f ms, clocks differ by %+.1f ppm",
				strings.TrimSpace(from.Name), x.match.Agree, x.match.Windows, 1000*x.match.Spread, x.match.DriftPPM))
	}
}

// apart returns how far apart the two devices lie by their own placements, in seconds, once
// the match is taken into account.
func (x tie) apart(placed []Placement) float64 {
	o, _ := x.toB(placed[x.a].Offset, placed[x.a].DriftPPM)
	return math.Abs(o - placed[x.b].Offset)
}

// takeSurety makes a placement sure because the player's other device is, which lies apart
// seconds from it: at the same place what speaks for one speaks for both. It reports whether
// it did. So which of two devices leads, and with it where exactly both lie, goes by what the
// two hold and never by who else plays.
func (p *Placement) takeSurety(from Placement, apart float64) bool {
	if apart > samePlace || !p.isKnown() || p.OtherTempo != 0 {
		return false
	}
	p.Sure, p.Reason = true, ""
	p.Confidence = math.Max(p.Confidence, from.Confidence)
	return true
}

// samePlace is how far apart two devices of a player may lie, in seconds, that found the same
// place each by itself: less than half of the shortest beats.
const samePlace = 0.1

// better reports whether a leads b: the user's word, then a place known well enough, then a
// clap, then the smaller uncertainty, then the name.
func better(a, b Placement, ta, tb *take) bool {
	switch {
	case ta.given != tb.given:
		return ta.given
	case a.isKnown() != b.isKnown():
		return a.isKnown()
	case math.IsNaN(a.CueAt) != math.IsNaN(b.CueAt):
		return !math.IsNaN(a.CueAt) // a clap does not lie about when it was
	case a.Uncertainty != b.Uncertainty:
		return a.Uncertainty < b.Uncertainty
	}
	return a.Name < b.Name
}
