package align

import (
	"math"
	"slices"
)

// choir is the harmony of some takes together on guide time, every ChromaHop
// from the beginning of the piece, and their rhythm.
type choir struct {
	sum    [][12]float64
	unit   [][12]float64 // sum, brought to length 1; nil when that has changed
	slots  []float64     // how strongly notes begin at each of the grid's slots
	voices int
}

// newChoir returns a choir in which nobody sings yet.
func newChoir(g *grid) *choir {
	n := int((g.end-g.start)/ChromaHop) + 1
	return &choir{sum: make([][12]float64, n), slots: make([]float64, len(g.slots))}
}

// frameAt returns the index of a file's harmony at a guide time when it lies at o.
func (t *take) frameAt(o, guide float64) int {
	return int(math.Round((guide - o) / t.ratio() / ChromaHop))
}

// add lets a take that lies at o sing along so many times; −1 takes it out again.
func (c *choir) add(g *grid, t *take, o float64, slots []float32, times float64) {
	for k := range c.sum {
		i := t.frameAt(o, g.start+float64(k)*ChromaHop)
		if i < 0 || i >= len(t.f.Chroma) {
			continue
		}
		for p, v := range t.f.Chroma[i] {
			c.sum[k][p] += times * float64(v) / 100
		}
	}
	for k, v := range slots {
		c.slots[k] += times * float64(v)
	}
	c.unit = nil
	c.voices += int(times)
}

// units returns the sum with every frame brought to length 1.
func (c *choir) units() [][12]float64 {
	if c.unit == nil {
		c.unit = make([][12]float64, len(c.sum))
		for k, v := range c.sum {
			var length float64
			for _, x := range v {
				length += x * x
			}
			length = math.Sqrt(length) + 1e-6
			for p, x := range v {
				c.unit[k][p] = x / length
			}
		}
	}
	return c.unit
}

// agreement returns how well the harmony of t at o goes with the choir, -1 to 1, over
// the whole piece: what the file does not hold counts for nothing.
func (c *choir) agreement(g *grid, t *take, o float64) float64 {
	c.units()
	var sum float64
	held := 0
	for k := range c.unit {
		i := t.frameAt(o, g.start+float64(k)*ChromaHop)
		if i < 0 || i >= len(t.f.Chroma) {
			continue
		}
		held++
		v := &t.f.Chroma[i]
		u := &c.unit[k]
		for p := range u {
			sum += u[p] * float64(v[p])
		}
	}
	if held < 2*len(c.unit)/5 {
		return -0.2
	}
	return sum / 100 / float64(len(c.unit))
}

// harmonise weighs the candidates of takes that are not sure by themselves with the
// harmony and the rhythm of those that are, and then with those that became sure by it.
// What is sure by itself stays as it is: the others add, and take nothing away. And who
// would be sure were one of the others missing is sure, so that hardly anybody who comes
// late makes a take unsure.
func harmonise(g *grid, takes []*take) {
	for _, t := range takes {
		t.normalise()
		t.trustClap()
	}
	h := &hearing{g: g, takes: takes, plain: make([][]hyp, len(takes))}
	h.alone = gatherSure(g, takes, func(i int) *hyp {
		if !takes[i].sureAlone() {
			return nil
		}
		return takes[i].best()
	})
	for i, t := range takes {
		if !h.alone.has(i) && len(t.hyps) > 0 {
			h.asking = append(h.asking, i)
			h.plain[i] = slices.Clone(t.hyps)
		}
	}
	if len(h.asking) == 0 || h.alone.voices == 0 {
		return
	}
	h.hear(h.asking)
	var near []int
	for _, i := range h.asking {
		t := takes[i]
		if p := t.best().p; t.joined && p >= nearlySure && p < sureBar {
			near = append(near, i)
		}
		h.plain[i] = h.likely(i)
	}
	for _, i := range near {
		h.hearFewer(i)
	}
}

// nearlySure is the probability from which fewer voices may make a file sure, and fewerVoices by
// how many.
const (
	fewerVoices = 2
	nearlySure  = 0.95
)

// hearing is how takes listen to each other.
type hearing struct {
	g      *grid
	takes  []*take
	plain  [][]hyp // per take that is not sure by itself, its candidates by its own sound
	alone  *tutti  // who is sure by themselves
	asking []int   // who is not
}

// hear weighs the candidates of some takes with what all play, but for some voices.
func (h *hearing) hear(who []int, skip ...string) {
	first := make([][]hyp, len(h.takes))
	for _, i := range h.asking {
		if !slices.Contains(skip, h.takes[i].voice()) {
			first[i] = h.weighed(i, h.alone, skip)
		}
	}
	all := gatherSure(h.g, h.takes, func(i int) *hyp {
		switch {
		case h.alone.has(i):
			return h.takes[i].best()
		case first[i] != nil:
			if b := (&take{hyps: first[i]}).best(); b.p >= sureBar {
				return b
			}
		}
		return nil
	})
	for _, i := range who {
		if hyps := h.weighed(i, all, skip); hyps != nil {
			h.takes[i].hyps, h.takes[i].joined = hyps, true
		}
	}
}

// weighed returns the candidates of take i as they are with what all but its own voice
// and some others play; nil when nobody is left.
func (h *hearing) weighed(i int, all *tutti, skip []string) []hyp {
	c := all.without(h.g, h.takes, append([]string{h.takes[i].voice()}, skip...)...)
	if c.voices == 0 {
		return nil
	}
	t := *h.takes[i]
	t.hyps = slices.Clone(h.plain[i])
	t.listen(h.g, c)
	return t.hyps
}

// likely returns the candidates of take i by its own sound that are likely when all others
// are heard.
func (h *hearing) likely(i int) []hyp {
	var out []hyp
	for _, x := range h.takes[i].hyps {
		k := slices.IndexFunc(h.plain[i], func(y hyp) bool { return x.o == y.o })
		if x.p > 1e-5 && k >= 0 {
			out = append(out, h.plain[i][k])
		}
	}
	return out
}

// hearFewer lets take i, which is nearly sure, be so when it is with one voice fewer, or
// with two of which the first is the one that speaks most against it, or with nobody.
func (h *hearing) hearFewer(i int) {
	t := h.takes[i]
	var voices []string
	for _, o := range h.takes {
		if o.voice() != t.voice() {
			voices = append(voices, o.voice())
		}
	}
	slices.Sort(voices)
	voices = slices.Compact(voices)
	full, place := t.hyps, t.best().o
	if own := (&take{hyps: h.plain[i]}).best(); own.o == place && own.p >= unheardBar {
		t.hyps = h.plain[i] // it was sure when nobody else was there
		return
	}
	var skip []string
	for range fewerVoices {
		most, by := 0.0, ""
		for _, v := range voices {
			if slices.Contains(skip, v) {
				continue
			}
			h.hear([]int{i}, append(slices.Clone(skip), v)...)
			b := t.best()
			if b.o == place && b.p >= sureBar {
				return
			}
			if b.o == place && b.p > most {
				most, by = b.p, v
			}
			t.hyps = full
		}
		skip = append(skip, by)
	}
}

// sureAlone reports whether a take's own sound leaves no doubt about its place. Nobody
// may overrule that, so without a clear clap it takes more.
func (t *take) sureAlone() bool {
	if len(t.hyps) == 0 {
		return false
	}
	return t.given || t.best().p >= plainBar || t.bestHasLoneClap()
}

// bestHasLoneClap reports whether a take's best place is sure and has its lone clap.
func (t *take) bestHasLoneClap() bool {
	h := t.best()
	return h.p >= sureBar && h.cue >= 0 && t.loneClap() == h.cue
}

// sureUnheard reports whether a take is sure that nobody else could speak for or against.
func (t *take) sureUnheard() bool {
	return t.sureAlone() || len(t.hyps) > 0 && t.best().p >= unheardBar
}

// plainBar is the least probability of a place for which no lone clap speaks at which
// others need not be asked, and unheardBar the least when there is nobody to ask.
const (
	plainBar   = 0.9999
	unheardBar = 0.998
)

// listen weighs the candidates of t with what a choir plays.
func (t *take) listen(g *grid, c *choir) {
	top := t.best().score
	for k := range t.hyps {
		h := &t.hyps[k]
		if h.score < top-hopeless {
			continue
		}
		h.terms[harmony] = c.agreement(g, t, h.o) * float64(c.voices) / float64(c.voices+1)
		h.terms[rhythm] = c.support(t.rhythm(g, h.o))
		h.score = h.terms.weighed()
	}
	t.normalise()
	t.trustClap()
}

// hopeless is by how many nats a candidate may lie behind the best and still be
// lifted over it by what the others play.
const hopeless = 40

// tutti is everybody who is sure, together and each.
type tutti struct {
	choir
	at    []float64   // per take, where it lies; NaN for one that is not sure
	slots [][]float32 // per take, its rhythm there
}

// has reports whether take i sings along.
func (e *tutti) has(i int) bool { return !math.IsNaN(e.at[i]) }

// gatherSure returns the tutti of the takes for which sure gives a place.
func gatherSure(g *grid, takes []*take, sure func(i int) *hyp) *tutti {
	e := &tutti{choir: *newChoir(g), at: make([]float64, len(takes)), slots: make([][]float32, len(takes))}
	for i, t := range takes {
		e.at[i] = math.NaN()
		h := sure(i)
		if h == nil {
			continue
		}
		e.at[i], e.slots[i] = h.o, t.rhythm(g, h.o)
		e.add(g, t, h.o, e.slots[i], 1)
	}
	return e
}

// without returns the tutti but for some voices.
func (e *tutti) without(g *grid, takes []*take, voices ...string) *choir {
	c := &choir{sum: slices.Clone(e.sum), slots: slices.Clone(e.choir.slots), voices: e.voices}
	for i, t := range takes {
		if e.has(i) && slices.Contains(voices, t.voice()) {
			c.add(g, t, e.at[i], e.slots[i], -1)
		}
	}
	return c
}

// best returns the most likely candidate of a take that has any.
func (t *take) best() *hyp {
	best := &t.hyps[0]
	for i := range t.hyps {
		if t.hyps[i].p > best.p {
			best = &t.hyps[i]
		}
	}
	return best
}

// voice names the performance that a recording holds: two devices of one
// player prove nothing to each other.
func (t *take) voice() string {
	if t.rec.Take != "" {
		return "take " + t.rec.Take
	}
	return "file " + t.rec.Name
}

// normalise turns scores into probabilities among a take's candidates.
func (t *take) normalise() {
	top := math.Inf(-1)
	for _, h := range t.hyps {
		top = math.Max(top, h.score)
	}
	var sum float64
	for i := range t.hyps {
		h := &t.hyps[i]
		h.p = math.Exp(h.score - top)
		sum += h.p
	}
	for i := range t.hyps {
		t.hyps[i].p /= sum
	}
}
