package align

import (
	"math"

	"ripieno/mix/tempo"
)

// GuideFit is how a recording, by itself, fits a guide of before against the one of now.
type GuideFit struct {
	Gain  float64 // nats by which it fits the one of before better
	Start float64 // seconds of the file by which the piece would begin later in it
}

// CompareGuides returns how recordings fit a guide of before against the one of now, in
// their order: a clap, the quiet behind it and the beginning of the playing lie as the guide
// that was heard had them. A recording of which nothing is known, or whose place the user
// fixed, fits both alike.
func CompareGuides(before, now *tempo.Map, recs []Recording) []GuideFit {
	fits := make([]GuideFit, len(recs))
	for k, r := range recs {
		if r.Features == nil || r.Offset != nil || r.CueAt != nil {
			continue
		}
		r.Onsets = nil
		old, ok1 := bestPlace(newGrid(before), r)
		is, ok2 := bestPlace(newGrid(now), r)
		if ok1 && ok2 {
			fits[k] = GuideFit{old.score - is.score, before.Start() - old.o - (now.Start() - is.o)}
		}
	}
	return fits
}

// bestPlace returns the likeliest place of a recording by itself; false where there is none.
func bestPlace(g *grid, r Recording) (hyp, bool) {
	t := newTake(&r)
	t.candidates(g)
	if len(t.hyps) == 0 {
		return hyp{score: math.Inf(-1)}, false
	}
	return t.hyps[0], true
}
