package align

import (
	"math"
	"ripieno/mix/audio"
	"ripieno/mix/robust"
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
	doubt   float64 // by how much its notes may be heard early or late as a whole, seconds
	alone   float64 // err where no clap tells how the notes are heard, seconds
	split   float64 // seconds by which the player's devices contradict each other, 0 where they do not; see mostSplit
}

// minNotes is how many notes a placement by the playing needs at least.
const minNotes = 4

// refine measures the playing round o: robustly, with slow attacks counting
// less, against the places between the beats that this player uses.
func (t *take) refine(g *grid, o float64, leak clicks) playing {
	_, _, pi := t.gridScore(g, o)
	var use [classes]bool
	for c, share := range pi {
		use[c] = share > 0.06
	}
	least := t.leastWeight(g, o)
	p := playing{err: math.Inf(1), slopErr: math.Inf(1)}
	var l line
	var vague, speaks []float64
	soft := 0.0
	// The second pass assigns the notes anew, round what the first found.
	for range 2 {
		var x, y, w []float64
		vague, speaks, soft = vague[:0], speaks[:0], 0
		for i, e := range t.f.Events {
			at := t.guide(o, i)
			if t.weight[i] < least || at < g.start-0.12 || at > g.end+0.1 || leak.holds(g, e, at, len(t.f.Leaked) > 0) {
				continue
			}
			at += e.Heard - e.Time
			shift := 0.0
			if p.n > 0 {
				shift = l.value(at)
			}
			want := t.expected(g, at-shift, use)
			if !(math.Abs(at-shift-want) <= 0.09) {
				continue
			}
			weight := t.weight[i] * e.trust()
			x, y, w = append(x, at), append(y, at-want), append(w, weight)
			vague = append(vague, math.Min(e.Vague, mostVague))
			speaks = append(speaks, e.Heard-e.Time)
			if e.Slow || e.Pitch {
				soft++
			}
		}
		if len(x) < minNotes {
			return p
		}
		p.n, p.span = len(x), x[len(x)-1]-x[0]
		p.doubt = doubtOf(robust.Median(vague), soft/float64(len(x)), spreadOf(speaks))
		l = fitLine(x, y, w, 0.004)
		if p.n < 12 || p.span < 20 {
			l = level(y, w)
		}
	}
	p.mid, p.mu = l.mean, l.value(l.mean)
	// Few notes tell little of their own scatter: mix in four of 20 ms, what
	// a player against a click usually has.
	n := float64(p.n)
	p.sigma = math.Sqrt((n*l.sigma*l.sigma + 4*0.02*0.02) / (n + 4))
	wider := p.sigma / math.Max(l.sigma, 1e-6)
	p.slope, p.slopErr = l.slope*1e6, slopeDoubt*wider*l.slopeErr*1e6
	scattered := scatterDoubt * math.Max(0, p.sigma-playerSigma)
	p.err = math.Hypot(math.Hypot(meanDoubt*wider*l.atErr, leastDoubt), math.Hypot(p.doubt, scattered))
	p.alone = math.Max(p.err, aloneDoubt*t.vagueness(g, o))
	return p
}

// vagueness returns how vaguely the notes of the piece begin, in seconds, when the file lies
// at o; 0 where no clear one is held.
func (t *take) vagueness(g *grid, o float64) float64 {
	var all []float64
	for i, e := range t.f.Events {
		if at := t.guide(o, i); t.weight[i] > 0.4 && at > g.start-0.12 && at < g.end {
			all = append(all, e.Vague)
		}
	}
	if len(all) == 0 {
		return 0
	}
	return robust.Median(all)
}

// leastWeight returns the weight below which an event counts for no note when the
// file lies at o. Faint events may be clicks from headphones or the room: they
// count only when there are not enough clear notes.
func (t *take) leastWeight(g *grid, o float64) float64 {
	plain := 0
	for i := range t.f.Events {
		if at := t.guide(o, i); t.weight[i] > 0.7 && at > g.start-0.12 && at < g.end {
			plain++
		}
	}
	if plain >= 6 {
		return 0.5
	}
	return 0.2
}

// expected returns the guide time nearest to one at which a note should begin; NaN
// where there is none.
func (t *take) expected(g *grid, guide float64, use [classes]bool) float64 {
	if t.part != nil {
		return t.part.nearest(guide)
	}
	if s := g.nearestOf(guide, use); s != nil {
		return s.at
	}
	return math.NaN()
}

// Beside what is vague about the notes: how much of the error of their mean and of their
// slope, as their scatter has it, is believed, and the least error, in seconds. Neighbouring
// notes go together, which a slope feels and a mean hardly does. On 1147 sampled takes the
// likeliest values were 0.8 and 2 ms, together with those for [vagueDoubt] and beside it.
const (
	meanDoubt  = 0.8
	slopeDoubt = 1.3
	leastDoubt = 0.002
)

// scatterDoubt is how much of the scatter that goes beyond a player's may be a
// shift of all notes: some of them were taken for the places beside theirs.
const scatterDoubt = 0.54

// playerSigma is what notes of a player scatter by about a click, seconds.
const playerSigma = 0.015

// level returns a line without slope through values with weights.
func level(y, w []float64) line {
	x := make([]float64, len(y))
	return fitLine(x, y, w, 0.004)
}

// mostDrift is the largest correction of a clock that is believed, in ppm: twice
// what consumer devices were seen to be off.
const mostDrift = 900

// A clock that is measured by soft notes no better than within vagueClock ppm, clocks themselves
// scattering by some 40, has to stand out by surelyClock of its errors: notes taken for the places
// beside theirs tilt a line, too. Of 2,562 sampled files two showed 3.3 and 3.6 errors, 549 and
// 329 ppm, of clocks of 16 and 55.
const (
	vagueClock  = 30.0
	surelyClock = 5.0
)

// drift returns the correction to a take's clock that the playing shows: none where
// there is too little of it.
func (p playing) drift(t *take) float64 {
	if t.clocked() || p.n < 24 || p.span < 40 {
		return 0
	}
	if math.Abs(p.slope) > mostDrift {
		return 0 // no clock: notes taken for others
	}
	sure := 3.0
	if p.slopErr > vagueClock {
		sure = surelyClock
	}
	switch {
	case math.Abs(p.slope) > sure*p.slopErr:
		return -p.slope
	case p.slopErr > vagueClock:
		return 0
	}
	// Clocks of consumer devices scatter by some 40 ppm; a measurement counts
	// as far as it beats that.
	return -p.slope * 40 * 40 / (40*40 + p.slopErr*p.slopErr)
}

// start returns where the playing of candidate h is looked for first: at its clap, when it has
// one, since soft notes may well seem to fit on either side of it.
func (t *take) start(g *grid, h hyp) float64 {
	if h.cue < 0 || h.terms.cueScore() < leastCue || t.f.Events[h.cue].Rise > noteRise {
		return h.o
	}
	return g.cue - t.f.Events[h.cue].Heard*t.ratio()
}

// refineNear measures the playing of candidate h, and returns round which place. Where its
// clap lies far beside the place at which its notes fit best, they are assigned to the beats
// from there too: players who clapped early and play late can be a sixteenth apart.
func (t *take) refineNear(g *grid, h hyp) (o float64, fit playing) {
	o = t.start(g, h)
	fit = t.refine(g, o, h.clicks)
	if math.Abs(h.o-o) < startsApart {
		return o, fit
	}
	other := t.refine(g, h.o, h.clicks)
	if fit.n < minNotes || other.n < minNotes || other.err > startsSharp {
		return o, fit
	}
	plausible := func(by float64) float64 {
		like, prior, _ := t.gridScore(g, by)
		beside := (by - o) / clapSigma
		return like + prior - beside*beside/2
	}
	if plausible(h.o-other.mu) > plausible(o-fit.mu)+startsLead {
		return h.o, other
	}
	return o, fit
}

// startsApart is how far a clap lies from the place at which the notes fit best for them to
// be assigned from both, in seconds, startsSharp the error of their mean from which on they
// are too soft to tell, and startsLead by how many nats the one beside the clap must lead.
const (
	startsApart = 0.025
	startsSharp = 0.012
	startsLead  = 3.0
)

// settle writes the numbers of the placement at a candidate, whose playing was measured
// round o.
func (p *Placement) settle(g *grid, t *take, h hyp, o float64, fit playing) {
	p.DriftPPM, p.Offset, p.split = t.ppm, o, fit.split
	drift := fit.drift(t)
	if drift != 0 || t.ppm != 0 {
		// The lateness grows by slope: a clock that runs faster by as much
		// takes it away, pivoting where the lateness was measured.
		mid := (fit.mid - p.Offset) / t.ratio()
		p.Offset -= drift * 1e-6 * mid
		p.DriftPPM = t.ppm + drift
	}
	if h.terms.cueScore() < leastCue {
		h.cue = -1
	}
	if h.cue >= 0 {
		p.CueAt = t.f.Events[h.cue].Heard
		p.CueOffset = g.cue - p.CueAt*audio.PPM(p.DriftPPM).Ratio()
	}
	p.blend(h, t.cueErr(h), t.cueEarly(h), fit, t.byClicks(h))
	p.Uncertainty = math.Hypot(p.Uncertainty, h.blur(t.f))
	p.byNote = h.cue >= 0 && t.f.Events[h.cue].Rise > noteRise
	if p.byNote && fit.n >= minNotes && h.odds < clicksClear {
		// The cue is heard as the notes are: two witnesses with the same doubt.
		p.Uncertainty = math.Max(p.Uncertainty, fit.alone/math.Sqrt2)
	}
}

// leastCue is the score from which a sound is believed to be the cue, in nats:
// the best of a file's sounds reach 7 and more, one in thirty by chance 2.
const leastCue = 4

// clapSigma is how far a clap may lie from the player's mean timing, seconds (one
// standard deviation): of simulated players' claps, 0.015 to 0.02. With 0.022 ensembles of 19
// sampled ones came out wider than nine tenths of their claps' spread in 4 cases, with 0.018 in
// 3 and with 0.015 in 2, at a median distance of their playing of 7.6, 6.3 and 6.6 ms.
const clapSigma = 0.018

// noteRise is the longest rise of a clap, in seconds: those of sampled files have up to
// 0.017, in rooms and with level control too.
const noteRise = 0.025

// cueErr returns how far the cue of h may lie from the player's mean timing, in seconds (one
// standard deviation): farther for a note than for a clap, since nobody knows when that
// one note was meant to be heard.
func (t *take) cueErr(h hyp) float64 {
	if h.cue < 0 {
		return clapSigma
	}
	return math.Hypot(clapSigma, 2*t.f.Events[h.cue].Vague)
}

// clapEarly is by how much people clap before the click that they clap to, against how they
// play, in seconds: taps to a metronome come some hundredths of a second before it, less with
// training and less in music (Aschersleben, 2002, "Temporal control of movements in
// sensorimotor synchronization", from memory).
const clapEarly = 0.01

// cueEarly returns by how much the cue of h is expected before the player's mean timing.
func (t *take) cueEarly(h hyp) float64 {
	if h.cue < 0 || t.f.Events[h.cue].Rise > noteRise {
		return 0
	}
	return clapEarly
}

// mostTightened is how far the playing may move a take away from its clap, in
// seconds, twice that when its notes begin sharply: good trios are 27 to 49 ms apart
// (Rasch, 1979, second hand), and so much a bow may be heard early.
const mostTightened = 0.03

// byClicks returns where the file lies by clear clicks of the guide; NaN without any.
func (t *take) byClicks(h hyp) float64 {
	if h.odds < clicksClear {
		return math.NaN()
	}
	return h.o - h.late
}

// blend joins the cue, the clicks of the guide and the playing, each by how well it tells
// where the player's mean timing lies.
func (p *Placement) blend(h hyp, cueErr, early float64, fit playing, byClicks float64) {
	byPlay := p.Offset - fit.mu
	at, err := p.CueOffset-early, cueErr // without the playing
	switch {
	case math.IsNaN(byClicks):
	case h.cue < 0:
		at, err = byClicks, clickSigma
	default:
		a, b := 1/(cueErr*cueErr), 1/(clickSigma*clickSigma)
		at, err = (at*a+byClicks*b)/(a+b), 1/math.Sqrt(a+b)
	}
	if h.cue >= 0 && fit.n >= minNotes {
		p.Lateness = p.CueOffset - byPlay
	}
	switch {
	case fit.n < minNotes && h.cue < 0:
		p.Method, p.Uncertainty = NoMethod, math.Inf(1)
	case fit.n < minNotes:
		p.Method, p.Offset, p.Uncertainty = ByCue, at+early, err
	case h.cue < 0 && math.IsNaN(byClicks):
		p.Method, p.Offset, p.Uncertainty = ByPlaying, byPlay, fit.alone
	default:
		p.Method = ByCuePlaying
		if h.cue < 0 {
			p.Method = ByPlaying
		}
		p.tighten(at, err, byPlay, fit)
	}
}

// tighten puts the placement between where it lies without the playing, at, and byPlay,
// with their errors.
func (p *Placement) tighten(at, err, byPlay float64, fit playing) {
	fitErr := fit.err * (1 + softMore*ramp(fit.err, softFrom, softTo))
	apart := at - byPlay
	// When clap and playing lie farther apart than people clap beside the
	// beat, the clap is the better known: its beginning cannot be mistaken,
	// unless that of the notes cannot either.
	playErr := math.Hypot(fitErr, ramp(fitErr, 0.005, 0.015)*math.Max(0, math.Abs(apart)-clapDoubt*err))
	a, b := 1/(playErr*playErr), 1/(err*err)
	most := mostTightened*(2-ramp(fit.doubt, 0.008, 0.016)) + 2*math.Max(0, err-clapSigma)
	p.Offset = at - math.Max(-most, math.Min(most, a/(a+b)*apart))
	known := 1 / math.Sqrt(a+b)
	// Two that contradict each other are known less well than they say.
	apart = math.Abs(apart) / math.Hypot(playErr, err)
	known *= math.Max(1, math.Min(mostContradicted, apart))
	// The doubt of notes that the clap outweighs moves nobody.
	p.Uncertainty = math.Hypot(known, doubtShare*fit.doubt*fitErr/playErr)
}

// doubtShare is how much of the doubt of soft notes counts beside what clap and playing know
// together, which takes the errors of both for normal ones: most of theirs are smaller than that
// doubt and a few far larger. On 864 sampled files it is the likeliest of several; 28 % exceed the
// error to expect then and 5 % twice it.
const doubtShare = 0.56

// Beside a clap the softest notes err by more than their error says, and make an ensemble wider
// than its claps if they are believed: from softFrom seconds of it on, in full from softTo on, by
// softMore more. Of sampled files the playing lies 1.0 of its error off up to 25 ms (root mean
// square), 1.27 from there to 30, 1.13 beyond. Of 131 of their ensembles 28 are wider than nine
// tenths of their claps with this, and 36 without; 16 and 23 are wider than their claps.
const (
	softFrom = 0.020
	softTo   = 0.030
	softMore = 0.3
)

// clapDoubt is from how many of the errors of a clap on it is the clap that is believed.
const clapDoubt = 3.0

// mostContradicted is by how much the error to expect grows where they contradict each other.
const mostContradicted = 1.5
