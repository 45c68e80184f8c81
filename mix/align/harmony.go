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

func newChoir(g *grid) *choir {
	n := int((g.end-g.start)/ChromaHop) + 1
	return &choir{sum: make([][12]float64, n), slots: make([]float64, len(g.slots))}
}

// frameAt is the index of a file's harmony at a guide time when it lies at o.
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

// agreement is how well the harmony of t at o goes with the choir, -1 to 1, over
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

// harmonise weighs the harmony and the rhythm of every take's candidates with
// those of the takes that are sure without it, and again with those that became
// sure by it.
func harmonise(g *grid, takes []*take) {
	settle := func() {
		for _, t := range takes {
			t.normalise()
			t.trustClap()
		}
	}
	settle()
	for range 2 {
		all := gatherSure(g, takes)
		for i, t := range takes {
			if t.given || len(t.hyps) == 0 {
				continue
			}
			c := all.without(g, takes, t.voice())
			if c.voices == 0 {
				continue
			}
			top := t.best().score
			for k := range t.hyps {
				h := &t.hyps[k]
				if h.score < top-hopeless {
					continue
				}
				h.terms[harmony] = c.agreement(g, t, h.o) * float64(c.voices) / float64(c.voices+1)
				h.terms[rhythm] = c.support(takes[i].rhythm(g, h.o))
				h.score = h.terms.weighed()
			}
		}
		settle()
	}
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

// gatherSure returns the tutti of the takes that are sure now.
func gatherSure(g *grid, takes []*take) *tutti {
	e := &tutti{choir: *newChoir(g), at: make([]float64, len(takes)), slots: make([][]float32, len(takes))}
	for i, t := range takes {
		e.at[i] = math.NaN()
		if len(t.hyps) == 0 {
			continue
		}
		if h := t.best(); t.given || h.p >= sureBar {
			e.at[i], e.slots[i] = h.o, t.rhythm(g, h.o)
			e.add(g, t, h.o, e.slots[i], 1)
		}
	}
	return e
}

// without returns the tutti but for one voice.
func (e *tutti) without(g *grid, takes []*take, voice string) *choir {
	c := &choir{sum: slices.Clone(e.sum), slots: slices.Clone(e.choir.slots), voices: e.voices}
	for i, t := range takes {
		if !math.IsNaN(e.at[i]) && t.voice() == voice {
			c.add(g, t, e.at[i], e.slots[i], -1)
		}
	}
	return c
}

// best is the most likely candidate of a take that has any.
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
