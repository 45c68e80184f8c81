package align

import (
	"math"
	"ripieno/mix/robust"
	"slices"
)

// A take may have been played to another guide: an earlier tempo, a rehearsal
// recording. Its clap is as clear as any, so only the playing can tell. The beats
// of the piece are held against it at other tempi, from where the piece begins.
const (
	paceNotes   = 16    // notes from which the playing is believed to tell its tempo
	paceFits    = 0.7   // agreement with the beats, in scatters, that leaves nothing to ask
	paceBetter  = 1.7   // times as much as that, and
	paceLeast   = 0.45  // at least so much, must be found at another tempo
	paceFrom    = 0.015 // how far tempi lie apart at least and
	paceReach   = 0.26  // at most, as a share
	paceSeconds = 60    // of the piece are compared
	paceOff     = 0.05  // seconds by which the ends of these may be off between two tries
	paceSame    = 0.004 // share by which the tempi of two takes of one guide differ at most
)

// pace is how the playing of one take goes with other tempi.
type pace struct {
	fits  float64   // agreement with the beats at the guide's own tempo
	tempi []float64 // over the guide's
	v     []float64 // agreement at each
	best  int       // index of the highest
}

// paceOf holds the playing of t against other tempi when it lies near o; nil where
// there is nothing to ask.
func (t *take) paceOf(g *grid, o float64) *pace {
	if t.part != nil || t.scan == nil || len(t.scan.comb) == 0 {
		return nil
	}
	// Slow attacks seem early by a tenth of a second.
	p := &pace{fits: t.scan.bestNear(t.scan.comb, o, 0.12)}
	if p.fits >= paceFits {
		return nil
	}
	if t.notes(g, o) < paceNotes {
		return p // too few to tell any tempo
	}
	plain := g.beatTemplate().until(g.start + paceSeconds)
	step := paceOff / math.Min(paceSeconds, g.end-g.start)
	scatter := deviation(t.scan.onset) + 1e-9
	for x := 1 + paceFrom; x < 1+paceReach; x += step {
		for _, f := range [...]float64{x, 1 / x} {
			p.tempi = append(p.tempi, f)
			p.v = append(p.v, t.scan.agreement(plain, g.start, 1/f, o)/scatter)
		}
	}
	for i, v := range p.v {
		if v > p.v[p.best] {
			p.best = i
		}
	}
	return p
}

// agreement is the mean of the onsets on the places of p, stretched from a guide
// time on, less that between them, at the best place within half a second of o.
func (s *scan) agreement(p template, from, stretch, o float64) float64 {
	const reach = 25
	var sums [2*reach + 1]float64
	for i, at := range p.at {
		k := (from + (at-from)*stretch - o) / s.clock / CurveHop
		for j := range sums {
			if n := int(k + 0.5 + float64(j-reach)*0.02/CurveHop); n >= 0 && n < len(s.onset) {
				sums[j] += p.weight[i] * s.onset[n]
			}
		}
	}
	return slices.Max(sums[:]) / p.total
}

// at is the highest agreement at about a tempo.
func (p *pace) at(tempo float64) float64 {
	best := math.Inf(-1)
	for i, f := range p.tempi {
		if math.Abs(f/tempo-1) < paceSame {
			best = math.Max(best, p.v[i])
		}
	}
	return best
}

// doubtTempo takes the surety from placements whose playing fits another tempo
// far better than the guide's. When several takes show the same one, the others
// are held against that: it is what they all heard then.
func doubtTempo(g *grid, takes []*take, placed []Placement) {
	paces := make([]*pace, len(takes))
	var shown []float64
	asked := 0
	for k, t := range takes {
		if !placed[k].Sure || t.given {
			continue
		}
		asked++
		p := t.paceOf(g, placed[k].Offset)
		if p == nil {
			continue
		}
		paces[k] = p
		if len(p.v) > 0 && p.v[p.best] >= max(paceLeast, paceBetter*p.fits) {
			shown = append(shown, p.tempi[p.best])
			placed[k].doubtTempo(p.tempi[p.best])
		}
	}
	if len(shown) >= 2 && 5*len(shown) >= asked {
		doubtCommon(shown, asked, paces, placed)
	}
	doubtDevices(takes, placed)
}

// doubtCommon holds all takes against the tempo that most of those shown share.
func doubtCommon(shown []float64, asked int, paces []*pace, placed []Placement) {
	common := robust.Median(slices.Clone(shown))
	agree := 0
	for _, f := range shown {
		if math.Abs(f/common-1) < paceSame {
			agree++
		}
	}
	if agree < 2 || 2*agree < len(shown) {
		return
	}
	doubted := len(shown)
	for k, p := range paces {
		if p != nil && placed[k].Sure && len(p.v) > 0 && (p.at(common) > 1.1*p.fits || p.fits < paceLeast/2) {
			placed[k].doubtTempo(common)
			doubted++
		}
	}
	if 3*doubted < asked {
		return
	}
	// So many heard another guide that whoever does not clearly fit this one may
	// have heard it too.
	for k, p := range paces {
		if p != nil && placed[k].Sure {
			placed[k].doubtTempo(common)
		}
	}
}

// doubtDevices doubts both devices of a player when one is doubted.
func doubtDevices(takes []*take, placed []Placement) {
	by := map[string]float64{}
	for k, t := range takes {
		if placed[k].OtherTempo != 0 {
			by[t.voice()] = placed[k].OtherTempo
		}
	}
	for k, t := range takes {
		if f := by[t.voice()]; f != 0 && placed[k].Sure && !t.given {
			placed[k].doubtTempo(f)
		}
	}
}

// notes counts the notes in the piece when the file lies at o.
func (t *take) notes(g *grid, o float64) int {
	n := 0
	for i := range t.f.Events {
		if at := t.guide(o, i); t.weight[i] > 0.4 && at > g.start-0.1 && at < g.end {
			n++
		}
	}
	return n
}

// until is the part of a template before a guide time.
func (p template) until(end float64) template {
	var out template
	for i, at := range p.at {
		if at < end {
			out.add(at, p.weight[i])
		}
	}
	return out
}

// bestNear is the highest value of a scan within reach seconds of an offset.
func (s *scan) bestNear(v []float64, o, reach float64) float64 {
	return slices.Max(v[s.index(o-reach) : s.index(o+reach)+1])
}
