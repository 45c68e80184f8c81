package align

import (
	"fmt"
	"math"
)

// A file of an even pulse, or of a few notes, fits a beat or a measure away
// nearly as well: then the cue alone says where it lies, and the odds of a
// candidate are the odds that this sound is the cue. That a player claps on another
// beat and nowhere else is rarer than chance sounds, but it happens, and the
// weights of the terms, fitted on whole sets, believe a clear clap nearly always.
// So what is left of doubt counts for more there. The bounds and factors were set on
// simulated files that had been looked at, among them all with a cue on a wrong
// beat; two of three that would have been, or nearly been, sure and wrong had
// no more than sameFit between the playing here and elsewhere, and one of these had seven notes.
const (
	sameFit   = 2.0 // nats by which the playing must speak against every other place
	sameDoubt = 2.0 // factor on the doubt where it does not
	scant     = 10  // notes; with fewer, and less than scantFit between the places,
	scantFit  = 1.0
	scantMore = 8.0  // the doubt counts so many times
	elsewhere = 0.15 // seconds from a candidate at which another is another place
)

// byCuePart is the part of weighed that rests on a sound being the cue.
func (t terms) byCuePart() float64 {
	var s float64
	for _, i := range [...]int{cueRank, cueQuality, cueMissing, cueAstray, gridShift, strangers} {
		s += weights[i] * t[i]
	}
	return s
}

// rival is the candidate elsewhere than at best that the playing favours most, and how
// much more it speaks for best, in nats, when the cue is left out of both; -1
// and +Inf when there is no other.
func (t *take) rival(best int) (k int, margin float64) {
	k, margin = -1, math.Inf(1)
	playing := func(h hyp) float64 { return h.score - h.byCue + h.ens }
	for i, h := range t.hyps {
		if math.Abs(h.o-t.hyps[best].o) <= elsewhere {
			continue
		}
		if d := playing(t.hyps[best]) - playing(h); d < margin {
			k, margin = i, d
		}
	}
	return k, margin
}

// alone is the factor by which the doubt of a placement of n notes counts, when the
// playing speaks for its place by margin: 1 where it does so clearly.
func alone(n int, margin float64) float64 {
	switch {
	case n < scant && margin < scantFit:
		return scantMore
	case margin < sameFit:
		return sameDoubt
	}
	return 1
}

// doubted is the probability p when its doubt counts factor times: what would be sure
// may fall below the bar by that, but no further, since it says nothing of the others.
func doubted(p, factor float64) float64 {
	return math.Min(p, math.Max(justUnsure, 1-factor*(1-p)))
}

// faintCue is by how many dB over the sound before it a cue must stand out to
// be believed against the playing. All cues of the easy simulated files that were
// sure stood out by more, 85 of 100 of the typical and 36 of the hard ones, in
// whose noise a chair or a key on a stand is as good a cue.
const faintCue = 30

// faint tells whether the cue of a candidate stands out too little to be
// believed against the playing.
func (t *take) faint(h hyp) bool {
	if h.cue < 0 {
		return false
	}
	e := t.f.Events[h.cue]
	return !(e.Level-e.Before >= faintCue)
}

// justUnsure is a probability that is not sure, but nearly.
const justUnsure = 0.98

// cueOnly is the reason of a placement that only its cue speaks for.
func (t *take) cueOnly(best, rival int) string {
	d := t.hyps[rival].o - t.hyps[best].o
	return fmt.Sprintf("only the cue says that it lies here, and the playing would fit %.2f s %s as well; listen for the cue and give cue_at",
		math.Abs(d), laterOrEarlier(d))
}
