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

// beatPhases tells where in its beat every moment lies.
type beatPhases struct {
	from float64
	bin  []int16 // every breakStep/2; -1 outside the piece
}

func newBeatPhases(g *grid) *beatPhases {
	p := &beatPhases{from: g.start}
	var beats []tempo.Beat
	for _, b := range g.beats {
		if !b.CountIn && b.Length > 0 {
			beats = append(beats, b)
		}
	}
	k := 0
	for at := g.start; at < g.end && len(beats) > 0; at += breakStep / 2 {
		for k+1 < len(beats) && beats[k+1].Seconds <= at {
			k++
		}
		p.bin = append(p.bin, int16(breakBins*(at-beats[k].Seconds)/beats[k].Length)%breakBins)
	}
	return p
}

// at returns the bin of a guide time; -1 outside the piece.
func (p *beatPhases) at(guide float64) int {
	i := int((guide-p.from)/(breakStep/2) + 0.5)
	if i < 0 || i >= len(p.bin) {
		return -1
	}
	return int(p.bin[i])
}
