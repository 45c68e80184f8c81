package align

import "math"

// rhythm returns how strongly a note begins at each slot when the file lies at o;
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

// support returns what the rhythm of a choir lends one that a take would have, in nats.
func (c *choir) support(slots []float32) float64 {
	var xy, xx, yy float64
	n := 0
	for i, v := range slots {
		if v == 0 {
			continue
		}
		n++
		x, y := float64(v), c.slots[i]/float64(c.voices)
		xy += x * y
		xx += x * x
		yy += y * y
	}
	if n < 16 {
		return 0
	}
	// A steady pulse leaves next to nothing once the beat is taken out; what
	// is left of it is chance and may not pass for agreement.
	floor := float64(n) * 0.1 * 0.1
	r := xy / math.Sqrt((xx+floor)*(yy+floor/4))
	// Twice the log likelihood ratio of a correlation r of n pairs against
	// none is -n·log(1-r²). Neighbouring notes are not independent and
	// neither are the parts of a tutti: take a third.
	return math.Copysign(-float64(n)*math.Log(1-r*r)/2, r) / 3
}
