package playing

import (
	"cmp"
	"context"
	"math"
	"slices"

	"ripieno/mix/align"
	"ripieno/mix/tempo"
)

// Pace is how fast a recording was played, told from the moments at which its
// notes begin and from nothing else, so without knowing where it lies.
//
// Whoever plays to a click keeps the click's pulse from the beginning of a take
// to its end, which no other pulse does by chance. So two things are measured:
// how strong the strongest pulse is that music at the guide's tempo may have,
// wherever the file lies, and how strong one of another tempo is. Rests, free
// passages and few long notes make both of them weak, and then nothing is known.
//
// Where the guide's own tempo changes, the place matters as well, and trying all
// places with all tempi takes time that grows with both lengths. Of such a piece
// only the minute of the file with most notes is measured, or two minutes when
// there are few.
type Pace struct {
	Notes int `json:"notes"` // that were measured
	// Guide and Other are the powers of those pulses: for notes at random each
	// pulse exceeds x with probability exp(-x), for notes that all lie on it it
	// is their number.
	Guide float64 `json:"guide"`
	Other float64 `json:"other"`
	// Ratio is the other tempo over the guide's. Notes alone do not tell a
	// tempo from one at a simple ratio to it, so it may be off by such.
	Ratio float64 `json:"ratio"`
}

// PaceVersion changes whenever HearPace would give other numbers.
const PaceVersion = 2

// Bounds of what is looked for.
const (
	paceLeast   = 24      // notes, fewer are not measured
	paceMost    = 400     // notes, spread evenly, with which the guide's pulse is looked for
	paceFew     = 160     // and those of other tempi
	paceFewest  = 64      // the latter on a map whose tempo changes
	paceKept    = 24      // of the tempi tried with few notes, the best, tried again with all
	paceWork    = 1e9     // phases of notes taken at most while looking for other tempi: about two seconds
	slowest     = 0.6     // tempo over the guide's
	fastest     = 1.67    //
	clockOff    = 7e-4    // of consumer devices, generously
	fineness    = 0.2     // of a turn: how far a pulse may run apart from one tried to the next, at either end
	turnSteps   = 1024    // of the table of directions
	wholeTurns  = 1 << 40 // steps, which make any turn positive
	tempiPrior  = 0.35    // natural logarithms: how much likelier tempi near the guide's are
	guideReach  = 0.008   // tempi nearer to the guide's are its own
	fullestBeat = 4       // highest pulse of another tempo, in parts of a beat
	mostPulses  = 16      // of any list of them
)

// Stretches of a file, in seconds, that are measured on a map whose tempo changes:
// the long one when the short one has fewer notes than enough.
const (
	shortStretch = 60
	longStretch  = 120
	enoughNotes  = 2 * paceLeast
)

// guidesPulses are the pulses that music at the guide's tempo may have, in parts
// of a beat: its own, halves, thirds, quarters, sixths and eighths, two to four
// beats, and those of dotted values and of groups of three against them.
var guidesPulses = []float64{1.0 / 4, 1.0 / 3, 3.0 / 8, 1.0 / 2, 2.0 / 3, 3.0 / 4, 1, 4.0 / 3, 3.0 / 2, 2, 8.0 / 3, 3,
	4, 6, 8}

// othersPulses are those by which another tempo is recognised.
var othersPulses = []float64{1, 2, 3, fullestBeat}

// HearPace returns how fast the file of f was played against the tempo of m. The
// zero Pace is that of a file with too few notes. The error is ctx's.
func HearPace(ctx context.Context, m *tempo.Map, f *align.Features) (Pace, error) {
	clock := newBeatClock(m)
	if f == nil || clock == nil {
		return Pace{}, nil
	}
	n := paceNotes(f)
	if !clock.even {
		if n = n.densest(shortStretch); len(n.at) < enoughNotes {
			n = paceNotes(f).densest(longStretch)
		}
	}
	if len(n.at) < paceLeast {
		return Pace{}, nil
	}
	p := Pace{Notes: len(n.at), Ratio: 1}
	if err := p.guides(ctx, n, clock); err != nil {
		return Pace{}, err
	}
	if err := p.other(ctx, n, clock); err != nil {
		return Pace{}, err
	}
	return p, nil
}

// guides finds the strongest pulse of the guide's tempo.
func (p *Pace) guides(ctx context.Context, n notes, clock *beatClock) error {
	some, places := n.thinOut(paceMost), clock.places(n, placesApart)
	step := fineness / (clock.fastest() * 8 * n.span() / 2)
	best, place, ratio := -1.0, 0.0, 1.0
	for r := 1 - clockOff; r <= 1+clockOff+step/2; r += step {
		if err := ctx.Err(); err != nil {
			return err
		}
		for _, o := range places {
			if v := some.strongest(clock, o, r, guidesPulses); v > best {
				best, place, ratio = v, o, r
			}
		}
	}
	p.Guide = n.strongest(clock, place, ratio, guidesPulses)
	return nil
}

// trial is a tempo and place that was tried.
type trial struct{ place, ratio, score, power float64 }

// try returns how well other pulses explain the notes: of tempi that share a
// pulse, the one with most pulses does best.
func (n notes) try(clock *beatClock, o, r float64) trial {
	t := trial{place: o, ratio: r}
	powers := n.powers(clock, o, r, othersPulses)
	for _, v := range powers[:len(othersPulses)] {
		t.score, t.power = t.score+v, max(t.power, v)
	}
	t.score *= math.Exp(-math.Pow(math.Log(r)/tempiPrior, 2) / 2)
	return t
}

// other finds the tempo, not the guide's, of the strongest pulse: all tempi and
// places with few notes, and then round the best of those with all notes. So
// what chance found in the few does not count for the rest.
func (p *Pace) other(ctx context.Context, n notes, clock *beatClock) error {
	few := n.thinOut(paceFew)
	if !clock.even {
		few = n.thinOut(paceFewest)
	}
	step := fineness / (clock.fastest() * fullestBeat * n.span() / 2)
	tempi := math.Log(fastest/slowest) / step
	most := paceWork / (tempi * float64(len(few.at)*len(othersPulses)))
	places := clock.placesAtMost(n, int(most))
	var tried []trial
	for r := slowest; r <= fastest; r *= 1 + step {
		if err := ctx.Err(); err != nil {
			return err
		}
		if math.Abs(math.Log(r)) < guideReach {
			continue
		}
		best := trial{}
		for _, o := range places {
			if t := few.try(clock, o, r); t.score > best.score {
				best = t
			}
		}
		tried = append(tried, best)
	}
	slices.SortFunc(tried, func(a, b trial) int { return cmp.Compare(b.score, a.score) })
	const finer = 16
	best := trial{ratio: 1}
	for _, t := range tried[:min(paceKept, len(tried))] {
		if err := ctx.Err(); err != nil {
			return err
		}
		for k := -finer; k <= finer; k++ {
			for _, shift := range clock.shifts() {
				if t := n.try(clock, t.place+shift, t.ratio*(1+float64(k)/finer*step)); t.score > best.score {
					best = t
				}
			}
		}
	}
	p.Other, p.Ratio = best.power, best.ratio
	return nil
}

// notes are moments of a file at which something begins, and how much each
// counts.
type notes struct{ at, weight []float64 }

// paceNotes returns the beginnings of a file that are clear enough to count.
func paceNotes(f *align.Features) notes {
	var n notes
	for _, e := range f.Events {
		if w := rise(e.Strength, 1.2, 4.5) * rise(e.Level, f.LoudDB-32, f.LoudDB-18); w > 0.3 {
			n.at, n.weight = append(n.at, e.Time), append(n.weight, w)
		}
	}
	return n
}

// rise returns a value that goes from 0 at lo to 1 at hi.
func rise(x, lo, hi float64) float64 { return max(0, min(1, (x-lo)/(hi-lo))) }

// span returns the time from the first note to the last.
func (n notes) span() float64 { return n.at[len(n.at)-1] - n.at[0] }

// densest returns the part of so many seconds that has most notes, with its first one
// at 0: a place is then that of the part, at whatever tempo.
func (n notes) densest(seconds float64) notes {
	from, to := 0, 0
	for i, k := 0, 0; k < len(n.at); k++ {
		for n.at[k]-n.at[i] > seconds {
			i++
		}
		if k+1-i > to-from {
			from, to = i, k+1
		}
	}
	out := notes{weight: n.weight[from:to]}
	for _, t := range n.at[from:to] {
		out.at = append(out.at, t-n.at[from])
	}
	return out
}

// thinOut returns at most so many of the notes, from all over the file. Every third of
// equal notes would have pulses that all of them have not, so one is taken from
// anywhere in each part.
func (n notes) thinOut(most int) notes {
	if len(n.at) <= most {
		return n
	}
	var out notes
	for i := range most {
		_, part := math.Modf(float64(i) * math.Phi)
		k := int((float64(i) + part) * float64(len(n.at)) / float64(most))
		out.at, out.weight = append(out.at, n.at[k]), append(out.weight, n.weight[k])
	}
	return out
}

// powers of pulses, given in parts of a beat, when the file lies at o and was
// played r times as fast as the guide: the square of the length of the sum of
// unit vectors at the notes' phases, over the sum of squared weights (Mardia &
// Jupp, Directional Statistics, 2000, section 6.3.1).
func (n notes) powers(clock *beatClock, o, r float64, pulses []float64) (out [mostPulses]float64) {
	var re, im [mostPulses]float64
	var beats [64]float64
	norm := 0.0
	for from := 0; from < len(n.at); from += len(beats) {
		at := n.at[from:min(from+len(beats), len(n.at))]
		weight := n.weight[from:][:len(at)]
		for i, t := range at {
			beats[i] = clock.beats(o+t*r) * turnSteps
			norm += weight[i] * weight[i]
		}
		for k := 0; k < len(pulses); k += 2 { // two sums at a time do not wait for each other
			p, q := pulses[k], pulses[min(k+1, len(pulses)-1)]
			var a, b turn
			for i, w := range weight {
				s := &turns[int(beats[i&63]*p+wholeTurns)&(turnSteps-1)]
				a.cos, a.sin = a.cos+w*s.cos, a.sin+w*s.sin
				s = &turns[int(beats[i&63]*q+wholeTurns)&(turnSteps-1)]
				b.cos, b.sin = b.cos+w*s.cos, b.sin+w*s.sin
			}
			re[k], im[k] = re[k]+a.cos, im[k]+a.sin
			if k+1 < len(pulses) {
				re[k+1], im[k+1] = re[k+1]+b.cos, im[k+1]+b.sin
			}
		}
	}
	for k := range pulses {
		out[k] = (re[k]*re[k] + im[k]*im[k]) / norm
	}
	return out
}

// strongest returns the highest of the powers.
func (n notes) strongest(clock *beatClock, o, r float64, pulses []float64) float64 {
	powers := n.powers(clock, o, r, pulses)
	return slices.Max(powers[:len(pulses)])
}

// turn is a direction.
type turn struct{ cos, sin float64 }

// turns are the directions in which a turn is divided.
var turns = func() (all [turnSteps]turn) {
	var sines [turnSteps]float64
	for i := range sines {
		sines[i] = math.Sin(2 * math.Pi * (float64(i) + 0.5) / turnSteps)
	}
	for i, v := range sines {
		all[i] = turn{cos: sines[(i+turnSteps/4)&(turnSteps-1)], sin: v}
	}
	return all
}()
