package align

import (
	"math"
	"slices"

	"ripieno/mix/audio"
	"ripieno/mix/robust"
)

// A take may have been played to another guide: an earlier tempo, a rehearsal
// recording. Its clap is as clear as any, so only the playing can tell. The beats
// of the piece are held against it at other tempi, from where the piece begins.
const (
	paceNotes   = 16    // notes from which the playing is believed to tell its tempo, and
	paceSome    = 3     // from which it is believed not to lie on the guide's beats
	paceFits    = 1.0   // agreement with the beats, in scatters, that leaves nothing to ask
	paceBetter  = 1.6   // times as much as that, and
	paceLeast   = 0.45  // at least so much, must be found at another tempo
	paceFrom    = 0.015 // how far tempi lie apart at least and
	paceReach   = 0.26  // at most, as a share
	paceSeconds = 60    // of the piece are compared
	paceOff     = 0.05  // seconds by which the ends of these may be off between two tries
	paceSame    = 0.004 // share by which the tempi of two takes of one guide differ at most
	paceClear   = 0.7   // agreement with the beats of a voice that clearly fits the guide
	paceLow     = 0.5   // agreement with the beats under which harmony alone may tell another tempo
	paceNone    = 0.25  // agreement with the beats that next to no voice that heard the guide has, and
	paceLost    = 0.33  // that too few have to go without others who fit it
	paceGain    = 0.04  // how much better harmony goes with the others at another tempo to say so, and
	paceMore    = 0.07  // so much where the beats half fit the guide
)

// pace is how the playing of one voice goes with other tempi.
type pace struct {
	fits  float64   // agreement with the beats at the guide's own tempo
	tempi []float64 // over the guide's
	v     []float64 // agreement at each
	best  int       // index of the highest
	held  float64   // fits of the recordings that v is of
	notes int       // in the piece, of the recording that holds most
	files []int     // the voice's recordings
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
	if p.notes = t.notes(g, o); p.notes < paceNotes {
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
	p.findBest()
	p.held = p.fits
	return p
}

// findBest notes which tempo fits best, the first of equals.
func (p *pace) findBest() {
	for i, v := range p.v {
		if v > p.v[p.best] {
			p.best = i
		}
	}
}

// join makes of the paces of two devices of a player what both say.
func (p *pace) join(o *pace) {
	p.fits, p.notes = (p.fits+o.fits)/2, max(p.notes, o.notes)
	switch {
	case len(o.v) == 0: // it hears too few notes to tell
	case len(p.v) == 0:
		p.tempi, p.v, p.best, p.held = o.tempi, o.v, o.best, o.held
	default:
		for i := range p.v {
			p.v[i] = (p.v[i] + o.v[i]) / 2
		}
		p.best, p.held = 0, (p.held+o.held)/2
		p.findBest()
	}
}

// other returns the tempo, over the guide's, that the playing fits far better; 0 without one.
func (p *pace) other() float64 {
	if len(p.v) == 0 || p.v[p.best] < max(paceLeast, paceBetter*max(p.fits, p.held)) {
		return 0
	}
	return p.tempi[p.best]
}

// agreement returns the mean of the onsets on the places of p, stretched from a guide
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

// at returns the highest agreement at about a tempo.
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
// far better than the guide's. The devices of a player speak with one voice. Where most
// voices clearly fit the guide, their harmony is held against the others' too, which tells
// the tempo of a part without attacks, and speaks for one whose beats mislead. Where
// several fit another tempo, all are held against that: it is what they heard.
func doubtTempo(g *grid, takes []*take, placed []Placement) {
	paces, asked := gatherPaces(g, takes, placed)
	trusted := fittingChoir(g, takes, placed, paces, asked)
	var shown []float64
	for _, p := range paces {
		f := p.other()
		if trusted != nil && (f != 0 || p.fits < paceClear) {
			by, gain := p.byHarmony(g, takes, placed, trusted)
			f = p.heed(f, by, gain)
		}
		if trusted == nil && f == 0 && p.fits < paceLost && p.notes >= paceSome {
			p.doubtBeats(placed)
		}
		if f != 0 {
			shown = append(shown, f)
			p.doubt(placed, f)
		}
	}
	if len(shown) >= 2 && 5*len(shown) >= asked {
		doubtCommon(shown, asked, paces, placed)
	}
	if n := fitting(paces, asked); len(shown) > n {
		// Whoever plays too few clear notes to tell may have heard that guide too.
		for _, p := range paces {
			p.doubt(placed, robust.Median(shown))
		}
	}
	doubtFives(g, takes, placed)
}

// heed returns the other tempo of a voice, 0 for none, when its beats say f and the others' harmony
// goes better by gain at tempo by. Harmony clears playing that misleads. It doubts by itself the sooner,
// the less the beats fit the guide: of 56 voices of sampled files, stretched to another tempo, of which
// their own beats do not tell it, none fits the guide by more than 0.41 but at five against four, and in
// ensembles of four harmony goes better with another tempo by chance.
func (p *pace) heed(f, by, gain float64) float64 {
	clears := paceGain / 2
	if f != 0 && p.fits < paceNone {
		clears = paceGain // the beats say no to the one and yes to the other
	}
	switch {
	case gain < -clears:
		return 0
	case f != 0:
		return f // beats tell it more closely
	case p.fits < paceLow && gain > paceGain*p.fits/paceLow || p.fits < paceNone, gain > paceMore:
		return by
	}
	return 0
}

// isOdd reports whether a voice does not clearly fit the guide, or another tempo far better.
func (p *pace) isOdd() bool { return p.fits < paceClear || p.other() != 0 }

// fitting returns how many of the voices asked clearly fit the guide.
func fitting(paces []*pace, asked int) int {
	for _, p := range paces {
		if p.isOdd() {
			asked--
		}
	}
	return asked
}

// gatherPaces returns the paces of all sure voices that do not clearly fit the guide,
// and how many voices were asked.
func gatherPaces(g *grid, takes []*take, placed []Placement) (paces []*pace, asked int) {
	by := map[string]*pace{}
	fits := map[string]bool{}
	var voices []string
	for k, t := range takes {
		if !placed[k].Sure || t.given {
			continue
		}
		v := t.voice()
		if _, known := by[v]; !known && !fits[v] {
			asked++
		}
		switch p := t.paceOf(g, placed[k].Offset); {
		case p == nil:
			fits[v] = true
		case by[v] == nil:
			p.files = []int{k}
			by[v] = p
			voices = append(voices, v)
		default:
			by[v].join(p)
			by[v].files = append(by[v].files, k)
		}
	}
	for _, v := range voices {
		if !fits[v] {
			paces = append(paces, by[v])
		}
	}
	return paces, asked
}

// doubt takes the surety from the recordings of a voice that fits another tempo.
func (p *pace) doubt(placed []Placement, tempo float64) {
	for _, k := range p.files {
		if placed[k].Sure {
			placed[k].doubtTempo(tempo)
		}
	}
}

// doubtBeats takes the surety from the recordings of a voice that fits no tempo, where nobody
// else is there to tell which it was.
func (p *pace) doubtBeats(placed []Placement) {
	for _, k := range p.files {
		if placed[k].Sure {
			placed[k].doubtBeats()
		}
	}
}

// doubted reports whether that has happened.
func (p *pace) doubted(placed []Placement) bool { return placed[p.files[0]].OtherTempo != 0 }

// fittingChoir returns the choir of the sure voices whose beats clearly fit the guide; nil
// where they are fewer than two or than half of those asked.
func fittingChoir(g *grid, takes []*take, placed []Placement, paces []*pace, asked int) *choir {
	odd := map[int]bool{}
	for _, p := range paces {
		if p.isOdd() {
			for _, k := range p.files {
				odd[k] = true
			}
		}
	}
	if n := fitting(paces, asked); n < 2 || 2*n < asked {
		return nil
	}
	c := newChoir(g)
	for k, t := range takes {
		if placed[k].Sure && !t.given && !odd[k] {
			c.add(g, t, placed[k].Offset, nil, 1)
		}
	}
	return c
}

// byHarmony returns the other tempo at which the harmony of a voice goes best with a choir, and by how
// much better than at the guide's.
func (p *pace) byHarmony(g *grid, takes []*take, placed []Placement, c *choir) (tempo, gain float64) {
	var tempi []float64
	for x := 1 + paceFrom; x < 1+paceReach; x += paceSame {
		tempi = append(tempi, x, 1/x)
	}
	return c.likesBest(g, takes[p.files[0]], placed[p.files[0]].Offset, tempi)
}

// likesBest returns the tempo, of some, at which t at o goes best with the choir, and by how much better
// than at the guide's. A take that lies by its notes has the beginning of the piece where the guide has
// it, one that lies by its clap the cue, and one without a clear clap may lie by where its sound ends.
func (c *choir) likesBest(g *grid, t *take, o float64, tempi []float64) (tempo, gain float64) {
	held := []float64{g.start}
	if !math.IsNaN(g.cue) {
		held = append(held, g.cue)
	}
	if !t.bestHasLoneClap() {
		held = append(held, g.end)
	}
	gain = math.Inf(-1)
	for _, f := range tempi {
		v := math.Inf(-1)
		for _, from := range held {
			v = math.Max(v, c.stretched(g, t, o, 1/f, from))
		}
		if v > gain {
			gain, tempo = v, f
		}
	}
	return tempo, gain - c.agreement(g, t, o)
}

// stretched returns the agreement of t at o with the choir if it was played slower by a factor
// from a guide time on.
func (c *choir) stretched(g *grid, t *take, o, factor, from float64) float64 {
	slow := *t
	slow.ppm = (audio.PPM(t.ppm).Ratio()/factor - 1) * 1e6
	at := audio.Clock{Offset: o, Drift: audio.PPM(t.ppm)}.File(from)
	return c.agreement(g, &slow, from-at*audio.PPM(slow.ppm).Ratio())
}

// doubtCommon holds all voices against the tempo that most of those shown share.
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
	for _, p := range paces {
		if !p.doubted(placed) && len(p.v) > 0 && (p.at(common) > 1.1*p.fits || p.fits < paceLeast/2) {
			p.doubt(placed, common)
			doubted++
		}
	}
	if 3*doubted < asked {
		return
	}
	// So many heard another guide that whoever does not clearly fit this one may
	// have heard it too.
	for _, p := range paces {
		if p.fits < paceClear {
			p.doubt(placed, common)
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

// until returns the part of a template before a guide time.
func (p template) until(end float64) template {
	var out template
	for i, at := range p.at {
		if at < end {
			out.add(at, p.weight[i])
		}
	}
	return out
}

// bestNear returns the highest value of a scan within reach seconds of an offset.
func (s *scan) bestNear(v []float64, o, reach float64) float64 {
	return slices.Max(v[s.index(o-reach) : s.index(o+reach)+1])
}
