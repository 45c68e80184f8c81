package align

import (
	"fmt"
	"math"
)

// keepLateness moves the takes that are wanted as played: their cue goes onto
// its beat, and how late the playing is against it stays. All recordings of
// a take move by the same, so its devices stay together.
func keepLateness(takes []*take, placed []Placement) {
	done := map[string]bool{}
	for _, t := range takes {
		name := t.rec.Take
		if !t.rec.AsPlayed || done[name] {
			continue
		}
		done[name] = true
		var members []int // that the user has not fixed, by word or through their partner
		given := false
		for _, o := range takes {
			given = given || o.rec.Take == name && o.given
		}
		for k, o := range takes {
			if o.rec.Take == name && !o.given && !(given && placed[k].Method == ByDevice) {
				members = append(members, k)
			}
		}
		shift := lateness(placed, members)
		for _, k := range members {
			placed[k].keep(shift)
		}
	}
}

// lateness returns how far the recordings of one take have to move for the cue to
// lie on its beat, NaN when none of them has a cue. It goes by the one
// that is known best; one that only follows it may still hold the only cue.
func lateness(placed []Placement, members []int) float64 {
	best := -1
	rank := func(k int) float64 {
		if placed[k].Method == ByDevice {
			return math.Inf(1)
		}
		return placed[k].Uncertainty
	}
	for _, k := range members {
		// Farther apart than a cue is looked for, the sound is not this player's cue.
		near := math.Abs(placed[k].CueOffset-placed[k].Offset) <= cueReach
		if near && (best < 0 || rank(k) < rank(best)) {
			best = k
		}
	}
	if best < 0 {
		return math.NaN()
	}
	return placed[best].CueOffset - placed[best].Offset
}

// keep moves a placement by its take's lateness and says so.
func (p *Placement) keep(shift float64) {
	switch {
	case p.Method == NoMethod || shift == 0:
	case math.IsNaN(shift):
		p.Evidence = append(p.Evidence, "no cue to keep the lateness against, so the playing lies on the beats")
	default:
		p.Offset += shift
		p.Kept = shift
		p.Evidence = append(p.Evidence, fmt.Sprintf("as played: %.0f ms %s is kept", math.Abs(1000*shift),
			lateOrEarly(shift)))
	}
}
