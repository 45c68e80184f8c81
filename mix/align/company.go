package align

import (
	"math"
	"slices"

	"ripieno/mix/tempo"
)

// company is everybody who is sure: their harmony and when their notes begin.
type company struct {
	choir
	dense  []float64 // how much begins, every CurveHop from the beginning of the piece
	begins []float64 // the same against what the place in the beat lets expect, in nats
}

// gatherCompany returns the company of all that are sure.
func gatherCompany(g *grid, takes []*take, placed []Placement) *company {
	c := &company{choir: *newChoir(g), dense: make([]float64, int((g.end-g.start)/CurveHop)+1)}
	for k, t := range takes {
		if placed[k].Sure {
			c.join(g, t, placed[k], 1)
		}
	}
	return c
}

// join lets a take join so many times; −1 takes it out again.
func (c *company) join(g *grid, t *take, p Placement, times float64) {
	clocked := *t // others may be reading it
	t, clocked.ppm = &clocked, p.DriftPPM
	c.add(g, t, p.Offset, nil, times)
	for i, e := range t.f.Events {
		at := t.guide(p.Offset, i) + e.Heard - e.Time
		if n := int((at - g.start) / CurveHop); n >= 0 && n < len(c.dense) {
			c.dense[n] += times * t.weight[i]
		}
	}
}

// without returns the company but for one voice.
func (c *company) without(g *grid, p *beatPhases, takes []*take, placed []Placement, voice string) *company {
	out := &company{choir: choir{sum: slices.Clone(c.sum), voices: c.voices}, dense: slices.Clone(c.dense)}
	for k, t := range takes {
		if placed[k].Sure && t.voice() == voice {
			out.join(g, t, placed[k], -1)
		}
	}
	out.level(g, p)
	return out
}

// level sets begins. Beats carry notes in all music: what tells one from another is what
// is left when that is taken out.
func (c *company) level(g *grid, p *beatPhases) {
	dense := smooth(c.dense, 6)
	var sum, count [breakBins]float64
	var all float64
	bins := make([]int, len(dense))
	for n, v := range dense {
		bins[n] = p.at(g.start + float64(n)*CurveHop)
		if bins[n] >= 0 {
			sum[bins[n]] += v
			count[bins[n]]++
		}
		all += v / float64(len(dense))
	}
	c.begins = make([]float64, len(dense))
	if all < 1e-9 {
		return // nobody
	}
	for n, v := range dense {
		if k := bins[n]; k >= 0 {
			usual := sum[k] / math.Max(1, count[k])
			c.begins[n] = math.Log((math.Max(0, v) + all) / (usual + all))
		}
	}
}

// beatPhases tells where in its beat, and in its measure, every moment of the piece lies.
type beatPhases struct {
	from  float64
	cell  []int16   // every breakStep/2, the beat of the measure times breakBins and the bin
	beats int       // that measures have at most, from 1 on
	share []float64 // of the time in a coarse bin, what falls into each beat of the measure; see [coarseBins]
}

// coarseBins is how many bins of a beat are told apart where the beats of a measure are.
const coarseBins = 16

// newBeatPhases tabulates the beats of a guide.
func newBeatPhases(g *grid) *beatPhases {
	p := &beatPhases{from: g.start, beats: 1}
	var beats []tempo.Beat
	var place []int // in the measure
	for i, b := range g.beats {
		if b.CountIn || b.Length <= 0 {
			continue
		}
		in := 0
		if n := len(beats); n > 0 && beats[n-1].Measure == b.Measure {
			in = min(place[n-1]+1, mostBeats-1)
		}
		beats, place = append(beats, g.beats[i]), append(place, in)
		p.beats = max(p.beats, in+1)
	}
	k := 0
	for at := g.start; at < g.end && len(beats) > 0; at += breakStep / 2 {
		for k+1 < len(beats) && beats[k+1].Seconds <= at {
			k++
		}
		bin := int(breakBins*(at-beats[k].Seconds)/beats[k].Length) % breakBins
		p.cell = append(p.cell, int16(place[k]*breakBins+bin))
	}
	p.share = make([]float64, p.beats*coarseBins)
	var all [coarseBins]float64
	for _, c := range p.cell {
		k := int(c) / (breakBins / coarseBins)
		p.share[k]++
		all[k%coarseBins]++
	}
	for k := range p.share {
		p.share[k] /= math.Max(1, all[k%coarseBins])
	}
	return p
}

// mostBeats bounds the beats of a measure that are told apart.
const mostBeats = 12

// steps returns so many seconds in steps of the table.
func (p *beatPhases) steps(seconds float64) int { return int(math.Round(seconds / (breakStep / 2))) }

// index returns the row of the table for a guide time, which may lie outside of it.
func (p *beatPhases) index(guide float64) int { return p.steps(guide - p.from) }

// cellAt returns the place of a guide time in its measure, in cells; -1 outside the piece.
func (p *beatPhases) cellAt(guide float64) int {
	if i := p.index(guide); i >= 0 && i < len(p.cell) {
		return int(p.cell[i])
	}
	return -1
}

// at returns the bin of the beat of a guide time; -1 outside the piece.
func (p *beatPhases) at(guide float64) int {
	if c := p.cellAt(guide); c >= 0 {
		return c % breakBins
	}
	return -1
}
