package align

import (
	"fmt"
	"math"
)

// playing is how the notes lie against the grid round a placement.
type playing struct {
	n       int
	mu      float64 // mean lateness at mid, seconds
	err     float64 // its standard error
	slope   float64 // change of lateness, ppm of guide time
	slopErr float64
	mid     float64 // guide time at which mu holds
	span    float64 // guide seconds from the first to the last note used
	sigma   float64 // scatter of single notes
	rise    float64 // typical attack, seconds
}

// refine measures the playing round o: robustly, with slow attacks counting
// less.
func (t *take) refine(g *grid, o float64) playing {
	var x, y, w, rises []float64
	for i, e := range t.f.Events {
		at := t.guide(o, i)
		if t.weight[i] < 0.2 || at < g.start-0.12 || at > g.end+0.1 {
			continue
		}
		s := g.nearest(at)
		if s == nil {
			continue
		}
		d := at - s.at
		if math.Abs(d) > 0.1 {
			continue
		}
		x = append(x, at)
		y = append(y, d)
		w = append(w, t.weight[i]/(1+math.Pow(e.Rise/0.06, 2)))
		rises = append(rises, e.Rise)
	}
	p := playing{n: len(x), err: math.Inf(1), slopErr: math.Inf(1)}
	if len(x) < 4 {
		return p
	}
	p.rise = median(rises)
	l := fitLine(x, y, w, 0.006)
	p.mid, p.mu, p.sigma = l.mean, l.value(l.mean), l.sigma
	lo, hi := x[0], x[len(x)-1]
	p.span = hi - lo
	p.slope, p.slopErr = l.slope*1e6, 1.5*l.slopeErr*1e6 // neighbouring notes go together
	// Notes of one phrase share the player's mood, and a slow attack is
	// heard before it can be measured.
	p.err = math.Hypot(1.5*l.atErr, math.Hypot(0.002, 0.08*p.rise))
	return p
}

// settle writes the numbers of the placement.
func (p *Placement) settle(g *grid, t *take, h hyp, fit playing) {
	p.DriftPPM = t.ppm
	p.Offset = h.o
	drift := 0.0
	if t.rec.DriftPPM == nil && fit.n >= 24 && fit.span > 40 {
		// Clocks of consumer devices scatter by some 40 ppm; a measurement
		// counts as far as it beats that.
		shrink := 40 * 40 / (40*40 + fit.slopErr*fit.slopErr)
		if math.Abs(fit.slope) > 3*fit.slopErr {
			shrink = 1
		}
		if fit.slopErr < 30 || shrink == 1 {
			drift = -fit.slope * shrink
		}
	}
	if drift != 0 || t.ppm != 0 {
		// The lateness grows by slope: a clock that runs faster by as much
		// takes it away, pivoting where the lateness was measured.
		mid := (fit.mid - h.o) / (1 + t.ppm*1e-6)
		p.Offset -= drift * 1e-6 * mid
		p.DriftPPM = t.ppm + drift
	}
	if h.cue >= 0 {
		p.CueAt = t.f.Events[h.cue].Time
		p.CueOffset = g.cue - p.CueAt*(1+p.DriftPPM*1e-6)
	}
	p.blend(h, fit)
}

// blend joins the cue and the playing, each by how well it tells where the
// player's mean timing lies.
func (p *Placement) blend(h hyp, fit playing) {
	byPlay, playErr := p.Offset-fit.mu, fit.err
	switch {
	case fit.n < 4 && h.cue < 0:
		p.Method, p.Uncertainty = "none", math.Inf(1)
	case fit.n < 4:
		p.Method, p.Offset, p.Uncertainty = "cue", p.CueOffset, clapSigma
	case h.cue < 0:
		p.Method, p.Offset, p.Uncertainty = "playing", byPlay, playErr
	default:
		p.Method = "cue+playing"
		a, b := 1/(playErr*playErr), 1/(clapSigma*clapSigma)
		p.Offset = (byPlay*a + p.CueOffset*b) / (a + b)
		p.Offset = math.Max(p.CueOffset-0.06, math.Min(p.CueOffset+0.06, p.Offset))
		p.Lateness = p.CueOffset - byPlay
		p.Uncertainty = 1 / math.Sqrt(a+b)
	}
}

// judge says how sure the placement is, from what it rests on.
func (p *Placement) judge(t *take, best int, fit playing) {
	h := t.hyps[best]
	second := 0.0
	for i, o := range t.hyps {
		if i != best {
			second = math.Max(second, o.p)
		}
	}
	p.Confidence = h.p
	if p.Uncertainty > 0.012 {
		p.Confidence *= 1 - math.Erfc(0.03/(p.Uncertainty*math.Sqrt2))
	}
	p.Sure = p.Confidence > 0.95 && h.terms[gridFit] > 5
	if h.cue >= 0 {
		e := t.f.Events[h.cue]
		p.Evidence = append(p.Evidence, fmt.Sprintf("cue at %.3f s, %.0f dB above what was before, number %d of the file's candidates", e.Time, e.Level-e.Before, t.rank[h.cue]))
	}
	if fit.n >= 4 {
		p.Evidence = append(p.Evidence, fmt.Sprintf("%d notes scatter by %.0f ms about the beats", fit.n, 1000*fit.sigma))
	}
	if h.r != 0 {
		p.Evidence = append(p.Evidence, fmt.Sprintf("rhythm agrees with the other takes by %.2f", h.r))
	}
	if !p.Sure {
		p.Reason = fmt.Sprintf("another place is nearly as likely (%.0f %% against %.0f %%); give cue_at", 100*h.p, 100*second)
	}
}
