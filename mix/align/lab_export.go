package align

// LabHook sees every candidate.
var LabHook func(name string, h []LabHyp)

type LabHyp struct {
	O, P  float64
	Terms []float64
	X     []float64
}

func LabRank(f *Features, i int) (int, float64) {
	t := newTake(&Recording{Features: f})
	return t.rank[i], t.like[i]
}

func lab(g *grid, takes []*take) {
	if LabHook == nil {
		return
	}
	for _, t := range takes {
		var hs []LabHyp
		for _, h := range t.hyps {
			x := LabHyp{O: h.o + (g.start+g.end)/2*0, P: h.p, Terms: append([]float64{}, h.terms[:]...)}
			if h.cue >= 0 {
				e := t.f.Events[h.cue]
				x.X = []float64{t.like[h.cue], float64(t.rank[h.cue]), e.Level - e.Before, e.Level - e.After, e.Strength, e.Rise, e.Decay, e.Spread, e.Bright, e.Level - t.f.LoudDB, t.guide(h.o, h.cue) - g.cue, lead(t, h.cue)}
			}
			hs = append(hs, x)
		}
		LabHook(t.rec.Name, hs)
	}
}

// LabTop is the most cue-like event: time, likeness, gap to the next, dB over before and after.
func LabTop(f *Features) (at, like, gap, bef, aft, rise float64) {
	t := newTake(&Recording{Features: f})
	second := -99.0
	best := -1
	for i := range f.Events {
		if t.rank[i] == 1 {
			best = i
		}
	}
	if best < 0 {
		return
	}
	for i := range f.Events {
		if i != best && t.like[i] > second && (f.Events[i].Time < f.Events[best].Time-0.15 || f.Events[i].Time > f.Events[best].Time+0.15) {
			second = t.like[i]
		}
	}
	e := f.Events[best]
	return e.Time, t.like[best], t.like[best] - second, e.Level - e.Before, e.Level - e.After, e.Rise
}

func lead(t *take, i int) float64 {
	other := -12.0
	for j := range t.f.Events {
		if d := t.f.Events[j].Time - t.f.Events[i].Time; d < -0.15 || d > 0.15 {
			other = max(other, t.like[j])
		}
	}
	return t.like[i] - other
}
