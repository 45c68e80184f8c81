package align

import (
	"math"
	"slices"
)

// agree lets the takes vote: each candidate is compared with the rhythm of
// all other takes, each of which counts by how sure it is of itself.
func agree(g *grid, takes []*take) {
	for _, t := range takes {
		t.drop()
		for i := range t.hyps {
			t.hyps[i].slots = t.rhythm(g, t.hyps[i].o)
		}
		t.normalise()
	}
	for range 4 {
		c := newChorus(g, takes)
		for _, t := range takes {
			for i := range t.hyps {
				e, r := c.support(t, &t.hyps[i])
				t.hyps[i].ens, t.hyps[i].r = ensWeight*e, r
			}
		}
		for _, t := range takes {
			t.normalise()
		}
	}
}

// drop forgets candidates so far behind the best that no agreement could lift
// them: with many takes and long pieces their rhythms would fill the memory.
func (t *take) drop() {
	top := math.Inf(-1)
	for _, h := range t.hyps {
		top = math.Max(top, h.score)
	}
	t.hyps = slices.DeleteFunc(t.hyps, func(h hyp) bool { return h.score < top-15 })
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
// -1 before its first and after its last note there: where a part begins and
// ends is judged by itself, and must not look like a rhythm that two wrongly
// placed takes share.
func (t *take) rhythm(g *grid, o float64) []float32 {
	v := make([]float32, len(g.slots))
	first, last := math.Inf(1), math.Inf(-1)
	for i := range t.f.Events {
		at := t.guide(o, i)
		if at < g.start-0.1 || at > g.end+0.1 || t.weight[i] < 0.1 {
			continue
		}
		if t.weight[i] > 0.3 {
			first, last = math.Min(first, at), math.Max(last, at)
		}
		k := g.first[max(0, min(len(g.first)-1, int((at-g.origin)/gridStep)))]
		for j := max(0, k-1); j <= min(len(g.slots)-1, k+1); j++ {
			d := (at - g.slots[j].at) / 0.03
			v[j] = max(v[j], float32(t.weight[i]*math.Exp(-d*d/2)))
		}
	}
	for k, s := range g.slots {
		if s.at < first-0.1 || s.at > last+0.1 {
			v[k] = -1
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

// chorus is the rhythm of all takes together, each candidate counted by how
// likely it is, and the share that single performances have in it.
type chorus struct {
	all   []float64
	total float64
	own   map[string]*chorus // by take
}

// weightless is the probability below which a candidate does not sing along.
const weightless = 0.02

func newChorus(g *grid, takes []*take) *chorus {
	c := &chorus{all: make([]float64, len(g.slots)), own: map[string]*chorus{}}
	for _, t := range takes {
		own := c.own[t.voice()]
		if own == nil {
			own = &chorus{all: make([]float64, len(g.slots))}
			c.own[t.voice()] = own
		}
		for _, h := range t.hyps {
			if h.p < weightless {
				continue
			}
			c.total += h.p
			own.total += h.p
			for i, v := range h.slots {
				c.all[i] += h.p * float64(v)
				own.all[i] += h.p * float64(v)
			}
		}
	}
	return c
}

// voice names the performance that a recording holds: two devices of one
// player prove nothing to each other.
func (t *take) voice() string {
	if t.rec.Take != "" {
		return "take " + t.rec.Take
	}
	return "file " + t.rec.Name
}

// support is what the other takes lend a candidate of t, in nats, and its
// correlation with them.
func (c *chorus) support(t *take, h *hyp) (nats, r float64) {
	own := c.own[t.voice()]
	if c.total-own.total < 0.5 {
		return 0, 0 // nobody else is known
	}
	var xy, xx, yy float64
	n := 0
	for i, v := range h.slots {
		if v == 0 {
			continue
		}
		n++
		x, y := float64(v), (c.all[i]-own.all[i])/(c.total-own.total)
		xy += x * y
		xx += x * x
		yy += y * y
	}
	if n < 16 {
		return 0, 0
	}
	// A steady pulse leaves next to nothing once the beat is taken out; what
	// is left of it is chance and may not pass for agreement.
	floor := float64(n) * 0.1 * 0.1
	r = xy / math.Sqrt((xx+floor)*(yy+floor/4))
	// Twice the log likelihood ratio of a correlation r of n pairs against
	// none is -n·log(1-r²). Neighbouring notes are not independent and
	// neither are the parts of a tutti: take a third.
	return math.Copysign(-float64(n)*math.Log(1-r*r)/2, r) / 3, r
}
