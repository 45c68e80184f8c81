package align

import (
	"math"
	"slices"
)

// take is what is known of one recording while placing: its events with the
// weight each has as a note, and the candidates for where it lies.
type take struct {
	rec    *Recording
	f      *Features
	weight []float64 // of each event as a note, 0..1
	rank   []int     // of each event as a cue: 1 is the most cue-like
	like   []float64 // of each event, how cue-like it is
	ppm    float64   // drift assumed while searching
	hyps   []hyp
}

// hyp is one candidate placement.
type hyp struct {
	cue   int     // index of the event taken for the cue, -1 none
	cueO  float64 // offset by the cue, NaN
	o     float64 // offset that puts the playing on the beats
	terms terms
	score float64 // log odds, without the ensemble
	ens   float64 // weighted agreement with the other takes
	p     float64 // posterior among the take's candidates
	slots []float32
	r     float64 // correlation with the ensemble
}

// terms are what speaks for and against a placement, kept apart so that they
// can be weighed, printed and judged.
type terms [termCount]float64

const (
	cueRank    = iota // how rare an event like the cue is in this file
	cueQuality        // how cue-like it is
	cueMissing        // 1: the file covers the cue's place and nothing is there
	gridFit           // how well the notes fall on the beats and their parts
	gridShare         // how usual the player's share of beats and off-beats is
	gridShift         // how far the playing lies from the cue, in squared sigmas
	quietBreak        // notes between the cue and the start
	quietEarly        // notes in the count-in before the cue
	rivals            // other cue-like events in the count-in
	bleed             // log odds that clicks of the count-in leaked into the file just there
	downbeats         // how much oftener notes begin on downbeats than on other beats, in sigmas
	phrases           // entries after a rest on downbeats minus others
	afterEnd          // notes after the end
	entry             // how usual it is to begin there
	lastNote          // whether the part ends near the end
	coverLate         // how much of the beginning the file misses
	coverEnd          // 1: the file ends before the piece
	empty             // 1: no notes in the piece
	termCount
)

// weights turn terms into log odds. They were fitted by conditional logistic
// regression (the true placement against all other candidates of a take) on
// simulated takes, and rounded.
var weights = terms{
	cueRank: 0.8, cueQuality: 0.5, cueMissing: -3.8, gridFit: 0.25, gridShare: 0.1, gridShift: -1.8,
	quietBreak: -0.2, quietEarly: -0.1, rivals: -0.2, bleed: 0.25, downbeats: 0.65, phrases: 0.45,
	afterEnd: -0.1, entry: 0.7, lastNote: 0.25, coverLate: -2.3, coverEnd: -4, empty: -1,
}

// ensWeight is the weight of the ensemble's agreement.
var ensWeight = 0.3

func (t terms) weighed() float64 {
	var s float64
	for i, v := range t {
		s += weights[i] * v
	}
	return s
}

func newTake(rec *Recording) *take {
	t := &take{rec: rec, f: rec.Features}
	if rec.DriftPPM != nil {
		t.ppm = *rec.DriftPPM
	}
	if t.f == nil {
		t.f = &Features{}
	}
	t.weigh()
	return t
}

// weigh gives every event its weight as a note and its rank as a cue.
func (t *take) weigh() {
	ev := t.f.Events
	t.weight = make([]float64, len(ev))
	order := make([]int, len(ev))
	cueness := make([]float64, len(ev))
	t.like = cueness
	for i, e := range ev {
		t.weight[i] = ramp(e.Strength, 1.5, 5) * ramp(e.Level, t.f.LoudDB-32, t.f.LoudDB-18)
		cueness[i] = cueLike(e, t.f)
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int {
		switch {
		case cueness[a] > cueness[b]:
			return -1
		case cueness[a] < cueness[b]:
			return 1
		}
		return a - b
	})
	t.rank = make([]int, len(ev))
	for r, i := range order {
		t.rank[i] = r + 1
	}
}

// cueLike is the log odds that an event is the cue of its file, by logistic
// regression on the events of simulated takes: claps, snaps and staccato notes
// against notes, speech, steps, doors, clicks and claps that mean nothing. A
// cue stands alone, is loud against what surrounds it, bright and soon over.
func cueLike(e Event, f *Features) float64 {
	before, after := ramp(e.Level-e.Before, 0, 45), ramp(e.Level-e.After, 0, 40)
	return -10.2 - 1.5*before + 4.9*after + 2.7*before*before - 1.4*after*after + 1.4*before*after +
		1.1*e.Strength/20 + 3.2*e.Spread - 4.4*e.Decay/0.6 - 1*e.Rise/0.15 + 6*e.Bright -
		1.9*ramp(e.Level, f.NoiseDB, f.NoiseDB+40) + 1.5*ramp(e.Level, f.LoudDB-35, f.LoudDB+10)
}

// ramp goes from 0 at lo to 1 at hi.
func ramp(x, lo, hi float64) float64 { return math.Max(0, math.Min(1, (x-lo)/(hi-lo))) }

// guide is the guide time of event i when the file lies at o.
func (t *take) guide(o float64, i int) float64 {
	return o + t.f.Events[i].Time*(1+t.ppm*1e-6)
}

// gridScore is how much better the events fit the grid than chance, when the
// playing lies at o. Which of the classes a player uses is unknown (some play
// only off the beat), so their shares are fitted, with a prior for the beat:
// a part may not be moved by half a beat because it then looks tidier.
func (t *take) gridScore(g *grid, o float64) (fit, share float64) {
	alpha := [classes]float64{2, 1.5, 0.75, 0.75}
	const outlier = 0.15
	pi := alpha
	norm := 5.0
	for c := range pi {
		pi[c] /= norm
	}
	var rows [2048]*densities
	var ws [2048]float64
	n := 0
	for i := range t.f.Events {
		if t.weight[i] < 0.1 || n == len(rows) {
			continue
		}
		if d := g.at(t.guide(o, i)); d != nil {
			rows[n], ws[n] = d, t.weight[i]
			n++
		}
	}
	if n == 0 {
		return 0, 0
	}
	var like float64
	for range 4 {
		count := alpha
		like = 0
		for k := range n {
			d := rows[k]
			var s float64
			for c := range pi {
				s += pi[c] * float64(d[c])
			}
			m := outlier + (1-outlier)*s
			like += ws[k] * math.Log(m)
			for c := range pi {
				count[c] += ws[k] * (1 - outlier) * pi[c] * float64(d[c]) / m
			}
		}
		var total float64
		for _, v := range count {
			total += v
		}
		for c := range pi {
			pi[c] = count[c] / total
		}
	}
	prior := 0.0
	for c := range pi {
		prior += alpha[c] * math.Log(pi[c]/(alpha[c]/norm))
	}
	return like, prior
}

// cueTerms says what finding event i at the cue's place is worth: by chance an
// event of rank r lies within ±0.13 s of it at a rate of r per duration of the
// file; and few cues are as poor as the poorest events.
func (t *take) cueTerms(i int, x *terms) {
	span := math.Max(20, t.f.Duration)
	x[cueRank] = math.Log(span / (0.26 * float64(t.rank[i])))
	x[cueQuality] = math.Max(-8, math.Min(1, t.like[i]))
}

// rest adds the terms that depend on the placement but not on the fine fit.
// The cue's event is not counted against the quiet of the count-in, and
// neither are clicks that leaked into it.
func (t *take) rest(g *grid, h *hyp) {
	o, x := h.o, &h.terms
	leaked, odds := t.leak(g, h)
	x[bleed] = odds
	quietFrom, quietTo := g.cue+0.2, g.start-0.35
	var early, quiet, rival, after float64
	var firsts []float64
	last := math.NaN()
	x[empty] = 1
	for i := range t.f.Events {
		at, w := t.guide(o, i), t.weight[i]
		if i == h.cue || (odds > 3 && leaked(at)) {
			continue
		}
		if at > 0 && at < quietTo {
			rival += ramp(t.like[i], -6, 0)
		}
		switch {
		case at > 0 && at < g.cue-0.2:
			early += w
		case at > quietFrom && at < quietTo:
			quiet += w
		case at > g.end+0.5 && at < g.end+6:
			after += w
		}
		if w > 0.4 && at >= quietTo && len(firsts) < 3 {
			firsts = append(firsts, at)
		}
		if w > 0.3 && at >= quietTo && at < g.end+0.3 {
			last = at
			x[empty] = 0
		}
	}
	if !math.IsNaN(g.cue) {
		x[quietBreak], x[quietEarly], x[rivals] = math.Min(4.5, quiet), math.Min(13, early), math.Min(4, rival)
	}
	x[afterEnd] = math.Min(10, after)
	x[entry] = entryScore(g, math.NaN())
	for k, at := range firsts {
		// A creak before the first note must not hide that the note itself
		// comes just right.
		x[entry] = math.Max(x[entry], entryScore(g, at)-1.5*float64(k))
	}
	t.cover(g, h, last)
}

// cover adds the terms for how the file's ends lie against the piece; last is
// the guide time of the last note, NaN without any.
func (t *take) cover(g *grid, h *hyp, last float64) {
	o, x := h.o, &h.terms
	fileEnd := o + t.f.Duration
	if fileEnd > g.end+0.3 && !math.IsNaN(last) {
		b := g.beats[len(g.beats)-1]
		if g.end-last < 6*b.Length {
			x[lastNote] = 1
		} else {
			x[lastNote] = -1
		}
	}
	switch {
	case o > g.start:
		x[coverLate] = 4
	case o > g.cue:
		x[coverLate] = 2.5
	case o > 0:
		x[coverLate] = 1
	}
	if fileEnd < g.end-0.2 {
		x[coverEnd] = 1
	}
}

// leak looks for clicks that leaked from the headphones: something on each
// beat of the count-in, always equally late, and nothing of the kind before
// it. It gives the log odds of that against chance, and which moments belong
// to it.
func (t *take) leak(g *grid, h *hyp) (leaked func(guide float64) bool, odds float64) {
	none := func(float64) bool { return false }
	if math.IsNaN(g.cue) || len(g.beats) < 6 || !g.beats[0].CountIn {
		return none, 0
	}
	const tolerance = 0.006
	first := g.beats[0]
	var want []float64 // beats of the count-in after those that would be there before it
	before := 0
	for k := 4; k > 0; k-- {
		if at := -float64(k) * first.Length; at > h.o+0.1 {
			want = append(want, at)
			before++
		}
	}
	for _, b := range g.beats {
		if !b.CountIn {
			break
		}
		if b.Seconds > h.o+0.1 && math.Abs(b.Seconds-g.cue) > 0.05 {
			want = append(want, b.Seconds)
		}
	}
	if len(want)-before < 4 {
		return none, 0
	}
	late := make([][]float64, len(want)) // how late each event near a wanted beat is
	lo, hi := want[0]-0.1, want[len(want)-1]+0.1
	count := 0.0
	var all []float64
	for i := range t.f.Events {
		at := t.guide(h.o, i)
		if at < lo || at > hi || i == h.cue {
			continue
		}
		count++
		for k, b := range want {
			if d := at - b; math.Abs(d) < 0.08 {
				late[k] = append(late[k], d)
				all = append(all, d)
			}
		}
	}
	chance := math.Min(0.5, 0.01+count/(hi-lo)*2*tolerance)
	best, bestD := 0.0, 0.0
	for _, d := range all {
		var s float64
		for k := range want {
			hit := false
			for _, l := range late[k] {
				hit = hit || math.Abs(l-d) < tolerance
			}
			p := 0.9
			if k < before {
				p = 0.03
			}
			if hit {
				s += math.Log(p / chance)
			} else {
				s += math.Log((1 - p) / (1 - chance))
			}
		}
		if s > best {
			best, bestD = s, d
		}
	}
	if best == 0 {
		return none, 0
	}
	odds = math.Log(0.9 + 0.1*math.Exp(best-math.Log(float64(len(all))))) // the lateness was searched
	return func(guide float64) bool {
		for _, b := range want {
			if math.Abs(guide-b-bestD) < tolerance {
				return true
			}
		}
		return false
	}, math.Min(odds, 20)
}

// meter adds the terms that tell one beat from another: notes begin more
// often on downbeats, and parts come in again on downbeats after a rest.
func (t *take) meter(g *grid, h *hyp) {
	var down, beats, expect, weight float64
	var in, out float64
	lastAt := math.Inf(-1)
	for i := range t.f.Events {
		at, w := t.guide(h.o, i), t.weight[i]
		if w < 0.3 || at < g.start-0.1 || at > g.end {
			continue
		}
		s := g.nearest(at)
		b := g.beats[s.beat]
		isDown := s.class == onBeat && b.Downbeat
		if math.Abs(at-s.at) < 0.08 && s.class == onBeat {
			p := 1 / float64(g.measureLen[s.beat])
			beats += w
			expect += p * w
			weight += p * (1 - p) * w
			if isDown {
				down += w
			}
		}
		if at-lastAt > 1.2*b.Length*float64(g.measureLen[s.beat]) && at > g.start+0.5 {
			if isDown {
				in++
			} else {
				out++
			}
		}
		lastAt = at
	}
	if weight > 0.5 {
		h.terms[downbeats] = math.Max(-6, math.Min(6, (down-expect)/math.Sqrt(weight)))
	}
	h.terms[phrases] = math.Max(-5, math.Min(5, in-out))
}

// entryScore is the log probability of a first note at a guide time: most
// parts begin with the piece, the others mostly at the start of a measure.
func entryScore(g *grid, entry float64) float64 {
	if math.IsNaN(entry) || entry > g.end {
		return math.Log(0.01)
	}
	if math.Abs(entry-g.start) < 0.14 {
		return math.Log(0.55)
	}
	s := g.nearest(entry)
	if s == nil {
		return math.Log(0.02)
	}
	b := g.beats[s.beat]
	far := math.Abs(entry-s.at) > 0.12
	switch {
	case far || entry < g.start-0.14:
		return math.Log(0.01)
	case b.Downbeat && s.class == onBeat:
		return math.Log(0.15)
	case s.class == onBeat:
		return math.Log(0.05)
	case s.beat < len(g.beats) && entry < g.start+b.Length:
		return math.Log(0.12) // an off-beat part beginning with the piece
	}
	return math.Log(0.025)
}
