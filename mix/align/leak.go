package align

import (
	"math"
	"ripieno/mix/robust"
)

// clicks are what leaked of the click track into a file.
type clicks struct {
	odds  float64 // log odds that there are any
	late  float64 // seconds after the beats they sound, for the placement at hand
	level float64 // dBFS, median
}

// clicksHeard is the least log odds at which clicks are taken to be there.
const clicksHeard = 3

// clicksClear is the least log odds at which the clicks tell where the guide was heard.
const clicksClear = 8

// clickSigma is how far a player's mean timing lies from the guide that they hear, in
// seconds (one standard deviation): of simulated players 0.015, and the sound's way.
const clickSigma = 0.018

// blur returns by how much notes may be heard where the clicks are instead, in seconds: the
// louder the clicks are beside the playing, the more.
func (c clicks) blur(f *Features) float64 {
	if c.odds < clicksClear || len(f.Leaked) > 0 {
		return 0
	}
	return 0.012 * ramp(c.level, f.LoudDB-30, f.LoudDB-20)
}

// holds reports whether an event at a guide time is one of the clicks, or what is left of one
// where they were taken out. Drift
// moves them against the grid the more the later they come.
func (c clicks) holds(g *grid, e Event, guide float64, cleaned bool) bool {
	over := clickMasks
	if cleaned {
		over = clickLeaves
	}
	if c.odds < clicksHeard || e.Level > c.level+over || e.Slow {
		return false
	}
	b := g.beatNear(guide - c.late)
	return math.Abs(guide-b-c.late) < 0.006+1e-4*math.Max(0, guide)
}

// clickMasks is by how many dB an event may be louder than the clicks and still be one, and
// clickLeaves the same where they were taken out: that much of one may be left.
const (
	clickMasks  = 12.0
	clickLeaves = -25.0
)

// leak looks for clicks that leaked from the headphones: something on each
// beat of the count-in, always equally late, and nothing of the kind before
// it.
func (t *take) leak(g *grid, h *hyp) clicks {
	want, before := t.wanted(g, h.o)
	if len(want)-before < 4 {
		return clicks{}
	}
	near, density := t.hear(h, want)
	chance := math.Min(0.5, 0.01+density*2*clickScatter)
	var c clicks
	hit := make([]bool, len(want))
	for _, n := range near {
		clear(hit)
		for _, o := range near {
			if math.Abs(o.late-n.late) < clickScatter {
				hit[o.beat] = true
			}
		}
		if s := regular(hit, before, chance); s > c.odds {
			c.odds, c.late = s, n.late
		}
	}
	if c.odds == 0 {
		return clicks{}
	}
	var levels, lates []float64
	for _, n := range near {
		if math.Abs(n.late-c.late) < clickScatter && n.beat >= before {
			levels, lates = append(levels, n.level), append(lates, n.late)
		}
	}
	c.level, c.late = robust.Median(levels), robust.Median(lates)
	// The lateness was searched for: pay for each value tried.
	c.odds = math.Min(60, math.Log(0.9+0.1*math.Exp(c.odds-math.Log(float64(len(near))))))
	return c
}

// hideClicks takes clear clicks of the guide for no cue, whatever beat of it the file
// lies at, and reports whether there were any: a clap that is louder stays one.
func (t *take) hideClicks(g *grid) bool {
	t.normalise()
	best := t.best()
	if best.odds < clicksClear {
		return false
	}
	for i, e := range t.f.Events {
		at := t.guide(best.o, i)
		if at < g.start && e.Level < best.level+clapOver && best.holds(g, e, at, len(t.f.Leaked) > 0) {
			t.like[i] -= noClick
		}
	}
	t.order()
	return true
}

// clapOver is by how many dB a clap that falls on a click is louder than clicks are, and
// noClick how much less like a cue a click is taken to be, in nats.
const (
	clapOver = 5.0
	noClick  = 12.0
)

// clickScatter is how far clicks that are equally late may seem apart, seconds.
const clickScatter = 0.006

// heard is an event near a beat.
type heard struct {
	beat  int // its index
	late  float64
	level float64 // dBFS
}

// hear gathers the events near the wanted beats, and how many events a second
// there are in all from the first of these beats to the last.
func (t *take) hear(h *hyp, want []float64) (near []heard, density float64) {
	lo, hi := want[0]-0.1, want[len(want)-1]+0.1
	hear := func(e Event) {
		at := h.o + e.Time*t.ratio()
		if at < lo || at > hi {
			return
		}
		density += 1 / (hi - lo)
		for k, b := range want {
			if d := at - b; math.Abs(d) < 0.08 {
				near = append(near, heard{k, d, e.Level})
			}
		}
	}
	for i, e := range t.f.Events {
		if i != h.cue {
			hear(e)
		}
	}
	for _, e := range t.f.Leaked {
		hear(e)
	}
	return near, density
}

// regular returns the log odds that clicks made the hits on beats, of which the first
// so many come before the guide has begun, rather than chance.
func regular(hit []bool, before int, chance float64) (odds float64) {
	for k, is := range hit {
		p := 0.9
		if k < before {
			p = 0.03
		}
		if is {
			odds += math.Log(p / chance)
		} else {
			odds += math.Log((1 - p) / (1 - chance))
		}
	}
	return odds
}

// wanted returns the beats at which clicks would have leaked when the file lies at o: those of
// the count-in that it covers, except the cue, after up to four that would come before it.
func (t *take) wanted(g *grid, o float64) (want []float64, before int) {
	if math.IsNaN(g.cue) || !g.beats[0].CountIn {
		return nil, 0
	}
	for k := 4; k > 0; k-- {
		if at := -float64(k) * g.beats[0].Length; at > o+0.1 {
			want = append(want, at)
			before++
		}
	}
	for _, b := range g.beats {
		if !b.CountIn {
			break
		}
		if b.Seconds > o+0.1 && math.Abs(b.Seconds-g.cue) > 0.05 {
			want = append(want, b.Seconds)
		}
	}
	return want, before
}
