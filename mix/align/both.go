package align

import (
	"fmt"
	"math"

	"ripieno/mix/audio"
)

// Two devices of a player hold the same notes, so how late these are is measured twice. What
// room, noise and level control do to each recording differs; how the instrument's notes begin
// does not.

// partner is the other device of a take's player.
type partner struct {
	take *take
	tie  tie
	isB  bool // the partner is b of the tie
}

// introduce tells two takes that are tied of each other.
func introduce(a, b *take, x tie) {
	a.partners = append(a.partners, partner{b, x, true})
	b.partners = append(b.partners, partner{a, x, false})
}

// measure returns the playing of candidate h as all devices of the player heard it, and round
// which place. Only what these hold counts, never where somebody else lies.
func (t *take) measure(g *grid, h hyp) (o float64, fit playing) {
	o, fit = t.refineNear(g, h)
	if fit.n < minNotes {
		return o, fit
	}
	all := []playing{fit}
	for _, p := range t.partners {
		if other := p.hears(g, t, h.o, o); other.n >= minNotes {
			all = append(all, other)
		}
	}
	return o, joinPlaying(all)
}

// hears returns the playing that the partner holds where t has a candidate at near, with its
// lateness as it is when t lies at o.
func (p partner) hears(g *grid, t *take, near, o float64) playing {
	counterpart := p.tie.toA
	if p.isB {
		counterpart = p.tie.toB
	}
	at, _ := counterpart(near, t.ppm)
	at, fit := p.take.refineNear(g, p.take.hypothesis(g, at))
	// The moment at which it was measured, in seconds of the partner's file, then of t's.
	moment := (fit.mid - at) / p.take.ratio()
	m := p.tie.match
	if p.isB {
		moment = m.OffsetSeconds + moment*audio.PPM(m.DriftPPM).Ratio()
	} else {
		moment = (moment - m.OffsetSeconds) / audio.PPM(m.DriftPPM).Ratio()
	}
	fit.mu += o + moment*t.ratio() - fit.mid
	return fit
}

// joinPlaying returns the first of several measurements of the same notes with the lateness of
// all: the mean, each weighted by the inverse square of the error that is its own, as independent
// measurements of one thing are. The doubt of soft notes is shared, so it does not become less.
// It needs one at least; an infinite error counts for nothing.
func joinPlaying(all []playing) playing {
	fit := all[0]
	if len(all) == 1 {
		return fit
	}
	var sum, mu, doubt float64
	for _, p := range all {
		w := 1 / (p.ownErr() * p.ownErr())
		sum, mu, doubt = sum+w, mu+w*p.mu, doubt+w*p.doubt
	}
	if sum == 0 {
		return fit // none of them knows anything
	}
	for _, p := range all[1:] {
		if apart := math.Abs(p.mu - fit.mu); apart > mostSplit*math.Hypot(p.ownErr(), fit.ownErr()) {
			fit.split = math.Max(fit.split, apart)
		}
	}
	fit.mu, fit.doubt = mu/sum, doubt/sum
	fit.err = math.Hypot(1/math.Sqrt(sum), fit.doubt)
	return fit
}

// mostSplit is by how many of their errors two devices may lie apart in how late they hear the same
// notes. Beyond three, as is common practice, one of them took notes for others, and which of them
// is not to be told: then the clap says where exactly they lie, to the file that has it.
const mostSplit = 3.0

// doubtSplit widens the error to expect of a file that follows another and has no cue near by, by half
// the distance at which the two contradict each other, and asks about it where that makes it too
// large. It asks about eight of the 73 sampled phones worked with that were switched on after the
// clap, of which one was 46 ms off, the farthest of all.
func (p *Placement) doubtSplit() {
	if !p.isByCue() {
		p.Uncertainty = math.Hypot(p.Uncertainty, p.split/2)
	}
	if p.Sure && !p.isKnown() {
		p.Sure = false
		p.Reason = fmt.Sprintf("this is the right beat, but without a cue its notes do not place it within %.0f ms "+
			"(about %.0f ms); accept it or give cue_at", 1000*mostUnsure, 1000*p.Uncertainty)
	}
}

// ownErr returns the part of the error, in seconds, that another device does not share.
func (p playing) ownErr() float64 {
	return math.Max(leastDoubt, math.Sqrt(math.Max(0, p.err*p.err-p.doubt*p.doubt)))
}
