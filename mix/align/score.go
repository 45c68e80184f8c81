package align

import (
	"cmp"
	"math"
	"ripieno/mix/audio"
	"slices"
)

// take is what is known of one recording while placing: its events with the
// weight each has as a note, and the candidates for where it lies.
type take struct {
	rec      *Recording
	f        *Features
	weight   []float64 // of each event as a note, 0..1
	rank     []int     // of each event as a cue: 1 is the most cue-like
	like     []float64 // of each event, how cue-like it is
	ppm      float64   // drift assumed while searching
	given    bool      // the user fixed where it lies
	joined   bool      // it was weighed with what others play
	part     *written  // what the score says of it; nil when that is unknown or no help
	hyps     []hyp
	scan     *scan
	partners []partner
}

// hyp is one candidate placement.
type hyp struct {
	cue   int     // index of the event taken for the cue, -1 none
	o     float64 // offset
	terms terms
	score float64 // log odds
	p     float64 // posterior among the take's candidates
	clicks
}

// terms are what speaks for and against a place, kept apart so that they can be
// weighed, printed and judged.
type terms [termCount]float64

const (
	sound      = iota // sound in the piece and quiet round it
	beats             // sounds begin on beats and not between them, in scatters
	burst             // a burst that stands alone where the cue should be
	cueRank           // how rare an event like the cue is in this file, in nats
	cueQuality        // how cue-like it is
	cueAlone          // how far it is the only one in its file, 0 to 3
	bleed             // log odds that clicks of the count-in leaked into the file just there
	scoreFit          // how well the notes fall on those of the score, where it is known
	missed            // written notes that nobody plays
	harmony           // agreement with the harmony of takes that are sure
	rhythm            // agreement with their rhythm, in nats
	termCount
)

// weights turn terms into log odds. They stand between what conditional logistic
// regression gives for files made of sampled instruments and for files of package
// simulate (TestFit), rounded.
var weights = terms{
	sound: 5.5, beats: 5.5, burst: 4, cueRank: 0.7, cueQuality: 0.45, cueAlone: 0.8, bleed: 0.1,
	scoreFit: 0.7, missed: -0.55, harmony: 40, rhythm: 0.3,
}

// weighed returns the log odds that all terms together speak for a place.
func (t terms) weighed() float64 {
	var s float64
	for i, v := range t {
		s += weights[i] * v
	}
	return s
}

// newTake returns a recording as placing sees it. Its clock is what the user wrote, or what
// leaked clicks tell; 0 until the playing is heard.
func newTake(rec *Recording) *take {
	t := &take{rec: rec, f: rec.Features}
	if t.f == nil {
		t.f = &Features{}
	}
	if rec.DriftPPM != nil {
		t.ppm = *rec.DriftPPM
	} else if t.clocked() {
		t.ppm = t.f.ClickPPM
	}
	t.weigh()
	return t
}

// clocked reports whether the file's clock is known before anything is heard of its place:
// clicks of the guide were followed through the whole of it.
func (t *take) clocked() bool {
	return t.rec.DriftPPM != nil || len(t.f.Leaked) > 0 && math.Abs(t.f.ClickPPM) < mostDrift
}

// weigh gives every event its weight as a note and its rank as a cue.
func (t *take) weigh() {
	ev := t.f.Events
	t.weight, t.like = make([]float64, len(ev)), make([]float64, len(ev))
	for i, e := range ev {
		t.weight[i] = ramp(e.Strength, 1.2, 4.5) * ramp(e.Level, t.f.LoudDB-32, t.f.LoudDB-18)
		t.like[i] = cueLike(e, t.f)
		if t.isTouch(i) {
			t.like[i] = likeTouch
		}
	}
	for j := range ev {
		if t.trails(j) {
			t.like[j] = likeTouch
		}
	}
	t.order()
}

// What goes on after a clap is no cue beside it: a room that answers, a breath, a sleeve, the
// hand on its way to the instrument. Whoever plays a note for a cue does not clap before it, so a
// sound that begins within trailReach seconds of a burst, is softer by trailSofter dB and
// rises as no clap does belongs to it.
const (
	trailReach  = 0.4
	trailSofter = 10.0
)

// trails reports whether event j only goes on where a clap began.
func (t *take) trails(j int) bool {
	b := t.f.Events[j]
	if b.Rise <= noteRise {
		return false
	}
	for i := j - 1; i >= 0 && b.Time-t.f.Events[i].Time <= trailReach; i-- {
		a := t.f.Events[i]
		if a.Rise <= noteRise && t.like[i] >= loneLeast && a.Level >= b.Level+trailSofter {
			return true
		}
	}
	return false
}

// The hand that starts or stops a recording is heard within so many seconds of its ends: a sound
// there is a cue only where it is like a clap whatever is round it, since nobody knows what was
// before or after it. What is none is as cue-like as likeTouch says: less than anything else.
const (
	touchReach = 0.3
	likeTouch  = -20.0
)

// isTouch reports whether event i is the hand on the device and no clap.
func (t *take) isTouch(i int) bool {
	return t.like[i] < loneLeast && t.atAnEnd(t.f.Events[i].Time)
}

// atAnEnd reports whether a moment of the file, in seconds, is one where the hand is heard.
func (t *take) atAnEnd(at float64) bool {
	return at < touchReach || at > t.f.Duration-touchReach
}

// hasCueNear reports whether an event within [cueReach] of a moment of the file, in seconds, is
// more than the hand on the device.
func (t *take) hasCueNear(at float64) bool {
	for i, e := range t.f.Events {
		if math.Abs(e.Time-at) < cueReach && t.like[i] > likeTouch {
			return true
		}
	}
	return false
}

// order ranks the events by how cue-like they are.
func (t *take) order() {
	order := make([]int, len(t.like))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(t.like[b], t.like[a]) })
	t.rank = make([]int, len(order))
	for r, i := range order {
		t.rank[i] = r + 1
	}
}

// cueLike returns the log odds that an event is the cue of its file, by logistic
// regression on the events of simulated takes: claps, snaps and staccato notes
// against notes, speech, steps, doors, clicks and claps that mean nothing. A
// cue stands alone, is loud against what surrounds it, bright and soon over.
func cueLike(e Event, f *Features) float64 {
	before, after := ramp(e.Level-e.Before, 0, 45), ramp(e.Level-e.After, 0, 40)
	return -10.2 - 1.5*before + 4.9*after + 2.7*before*before - 1.4*after*after + 1.4*before*after +
		1.1*e.Strength/20 + 3.2*e.Spread - 4.4*e.Decay/0.6 - 1*e.Rise/0.15 + 6*e.Bright -
		1.9*ramp(e.Level, f.NoiseDB, f.NoiseDB+40) + 1.5*ramp(e.Level, f.LoudDB-35, f.LoudDB+10)
}

// ramp returns 0 up to lo, 1 from hi on, and what lies between on a straight line.
func ramp(x, lo, hi float64) float64 { return math.Max(0, math.Min(1, (x-lo)/(hi-lo))) }

// guide returns the guide time of event i when the file lies at o.
func (t *take) guide(o float64, i int) float64 {
	return o + t.f.Events[i].Time*t.ratio()
}

// ratio returns the guide seconds that pass in one second of the file.
func (t *take) ratio() float64 { return audio.PPM(t.ppm).Ratio() }

// gridScore returns how much better the events fit the grid than chance, when the
// playing lies at o. Which of the classes a player uses is unknown (some play
// only off the beat), so their shares are fitted, with a prior for the beat:
// a part may not be moved by half a beat because it then looks tidier.
func (t *take) gridScore(g *grid, o float64) (fit, share float64, pi [classes]float64) {
	alpha := [classes]float64{onBeat: 2, onHalf: 1.5, firstQuarter: 0.375, lastQuarter: 0.375, firstThird: 0.375,
		lastThird: 0.375}
	const outlier = strayShare
	pi = alpha
	norm := 5.0
	for c := range pi {
		pi[c] /= norm
	}
	// Room for the events of most files without a memory of its own: this runs for
	// every place that is weighed. More events than that grow it.
	var roomForRows [2048]*densities
	var roomForWeights [2048]float64
	rows, ws := roomForRows[:0], roomForWeights[:0]
	for i := range t.f.Events {
		if t.weight[i] < 0.1 {
			continue
		}
		if d := g.at(t.guide(o, i)); d != nil {
			rows, ws = append(rows, d), append(ws, t.weight[i])
		}
	}
	if len(rows) == 0 {
		return 0, 0, pi
	}
	var like float64
	for range 4 {
		count := alpha
		like = 0
		for k, d := range rows {
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
	return like, prior, pi
}
