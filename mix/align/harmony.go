package align

import "math"

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
	return int(math.Round((guide - o) / (1 + t.ppm*1e-6) / ChromaHop))
}

// add lets a take that lies at o sing along.
func (c *choir) add(g *grid, t *take, o float64) {
	for k := range c.sum {
		i := t.frameAt(o, g.start+float64(k)*ChromaHop)
		if i < 0 || i >= len(t.f.Chroma) {
			continue
		}
		for p, v := range t.f.Chroma[i] {
			c.sum[k][p] += float64(v) / 100
		}
	}
	for k, v := range t.rhythm(g, o) {
		c.slots[k] += float64(v)
	}
	c.unit = nil
	c.voices++
}

// agreement is how well the harmony of t at o goes with the choir, -1 to 1, over
// the whole piece: what the file does not hold counts for nothing.
func (c *choir) agreement(g *grid, t *take, o float64) float64 {
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
		choirs := map[string]*choir{}
		for _, t := range takes {
			if choirs[t.voice()] == nil {
				choirs[t.voice()] = choirWithout(g, takes, t.voice())
			}
		}
		for _, t := range takes {
			c := choirs[t.voice()]
			if c.voices == 0 || t.given {
				continue
			}
			for i := range t.hyps {
				h := &t.hyps[i]
				h.terms[harmony] = c.agreement(g, t, h.o) * float64(c.voices) / float64(c.voices+1)
				h.terms[rhythm] = c.support(t.rhythm(g, h.o))
				h.score = h.terms.weighed()
			}
		}
		settle()
	}
}

// choirWithout is everybody who is sure, but for one voice.
func choirWithout(g *grid, takes []*take, voice string) *choir {
	c := newChoir(g)
	for _, t := range takes {
		if len(t.hyps) == 0 || t.voice() == voice {
			continue
		}
		if h := t.best(); t.given || h.p >= sureBar {
			c.add(g, t, h.o)
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
