package align

import (
	"math"
	"ripieno/mix/tempo"
)

type LabHyp struct {
	O                                                           float64
	Terms                                                       []float64
	Cue                                                         int
	CueTime                                                     float64
	Like                                                        float64
	Rank                                                        int
	Strength, Level, Before, After, Rise, Decay, Spread, Bright float64
}
type LabTake struct {
	Name string
	Hyps []LabHyp
	Sc   *scan
	T    *take
	G    *grid
}

func LabSearch(m *tempo.Map, recs []Recording) []LabTake {
	g := newGrid(m)
	var out []LabTake
	for i := range recs {
		t := newTake(&recs[i])
		t.part = newWritten(g, recs[i].Onsets)
		t.candidates(g)
		out = append(out, LabTake{Name: recs[i].Name, Sc: t.scan, T: t, G: g, Hyps: labHyps(t)})
	}
	return out
}
func labHyps(t *take) (hs []LabHyp) {
	for _, h := range t.hyps {
		x := LabHyp{O: h.o, Terms: append([]float64{}, h.terms[:]...), Cue: h.cue, CueTime: math.NaN()}
		if h.cue >= 0 {
			e := t.f.Events[h.cue]
			x.CueTime, x.Like, x.Rank, x.Strength, x.Level, x.Before, x.After, x.Rise, x.Decay, x.Spread, x.Bright = e.Time, t.like[h.cue], t.rank[h.cue], e.Strength, e.Level, e.Before, e.After, e.Rise, e.Decay, e.Spread, e.Bright
		}
		hs = append(hs, x)
	}
	return
}
func LabRank(f *Features, i int) (int, float64) { t := newTake(&Recording{Features: f}); return t.rank[i], t.like[i] }
