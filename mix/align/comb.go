package align

import (
	"math"
	"ripieno/mix/audio"
	"slices"
)

// comb scans offsets quickly with fixed shares of the slot classes.
type comb struct {
	t      *take
	g      *grid
	table  []float32
	at     []float64 // event times, of the events that matter
	weight []float64
}

// newComb leaves out what hardly counts as a note: the comb is read at thousands of places,
// and each costs a look-up for every event. Where the part is known from a score, its own
// density takes the place of that of an unknown player.
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

// sum returns the comb's value at offset o on a clock of ratio.
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

// limits returns the offsets between which at least some events lie in the music, a quarter of
// an hour either way at most; none of a take without events.
func (c *comb) limits() (from, to float64) {
	if len(c.at) == 0 {
		return 0, -1
	}
	last, first := c.at[len(c.at)-1], c.at[0]
	return math.Max(c.g.start-last, -900), math.Min(c.g.end-first, 900)
}

const combStep = 0.008

// mostForClock is how many events tell a clock well enough.
const mostForClock = 160

// bestDrift returns the clock that lets the comb stand out most, 0 unless another
// is clearly better: the search only needs the playing to stay within a
// player's scatter from the beginning of a file to its end.
func (c *comb) bestDrift() float64 {
	if c.t.f.Duration < 60 {
		return 0
	}
	// Where the file holds less than a quarter of the piece nobody looks for it.
	from, to := c.limits()
	piece := c.g.end - c.g.start
	from, to = math.Max(from, c.g.start+piece/4-c.t.f.Duration), math.Min(to, c.g.end-piece/4)
	some := *c
	if n := len(c.at); n > mostForClock {
		some.at, some.weight = nil, nil
		for i := range mostForClock { // spread evenly: enough for a clock
			some.at = append(some.at, c.at[i*n/mostForClock])
			some.weight = append(some.weight, c.weight[i*n/mostForClock])
		}
	}
	best, at := 0.0, 0.0
	for _, ppm := range []float64{0, -150, 150, -300, 300, -450, 450, -600, 600} {
		top := 0.0
		for o := from; o <= to; o += 2 * combStep {
			top = math.Max(top, some.sum(o, audio.PPM(ppm).Ratio()))
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

// peaks returns the offsets of the n highest local maxima.
func (c *comb) peaks(n int) []float64 {
	from, to := c.limits()
	ratio := c.t.ratio()
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
