package playing

import (
	"math"

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
type Pace struct {
	Notes int `json:"notes"`
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
const PaceVersion = 1

// Bounds of what is looked for.
const (
	paceLeast   = 24    // notes, fewer are not measured
	paceMost    = 400   // notes, spread evenly, against the guide
	paceFew     = 160   // notes against other tempi
	slowest     = 0.6   // tempo over the guide's
	fastest     = 1.67  //
	clockOff    = 7e-4  // of consumer devices, generously
	changeStep  = 0.2   // seconds between places tried on a map whose tempo changes
	fineness    = 0.2   // of a turn: how far a pulse may run apart from one tried to the next, at either end
	turnSteps   = 1024  // of the table of sines
	tableStep   = 0.01  // seconds of the table of beats
	tempiPrior  = 0.35  // natural logarithms: how much likelier tempi near the guide's are
	guideReach  = 0.008 // tempi nearer to the guide's are its own
	fullestBeat = 4     // highest pulse of another tempo, in parts of a beat
)

// guidesPulses are the pulses that music at the guide's tempo may have, in parts
// of a beat: its own, halves, thirds, quarters, sixths and eighths, two to four
// beats, and those of dotted values and of groups of three against them.
var guidesPulses = []float64{1.0 / 4, 1.0 / 3, 3.0 / 8, 1.0 / 2, 2.0 / 3, 3.0 / 4, 1, 4.0 / 3, 3.0 / 2, 2, 8.0 / 3, 3, 4, 6, 8}

// othersPulses are those by which another tempo is recognised.
var othersPulses = []float64{1, 2, 3, fullestBeat}

// HearPace tells how fast the file of f was played against the tempo of m. The
// zero Pace is that of a file with too few notes.
func HearPace(m *tempo.Map, f *align.Features) Pace {
	if f == nil {
		return Pace{}
	}
	n := paceNotes(f)
	clock := newBeatClock(m)
	if len(n.at) < paceLeast || clock == nil {
		return Pace{}
	}
	p := Pace{Notes: len(n.at), Ratio: 1}
	span := n.at[len(n.at)-1] - n.at[0]
	some := n.thinned(paceMost)
	places := clock.places(n)
	step := fineness / (clock.fastest() * 8 * span / 2)
	for r := 1 - clockOff; r <= 1+clockOff+step/2; r += step {
		for _, o := range places {
			for _, v := range some.powers(clock, o, r, guidesPulses) {
				p.Guide = max(p.Guide, v)
			}
		}
	}
	p.Guide *= float64(len(n.at)) / float64(len(some.at))
	p.other(n.thinned(paceFew), clock, places, span)
	return p
}

// other finds the tempo, not the guide's, of the strongest pulse.
func (p *Pace) other(n notes, clock *beatClock, places []float64, span float64) {
	step := fineness / (clock.fastest() * fullestBeat * span / 2)
	best, place := 0.0, 0.0
	try := func(o, r float64) {
		sum, most := 0.0, 0.0
		for _, v := range n.powers(clock, o, r, othersPulses) {
			sum, most = sum+v, max(most, v)
		}
		// Of tempi that share a pulse, the one with most pulses.
		if sum *= math.Exp(-math.Pow(math.Log(r)/tempiPrior, 2) / 2); sum > best {
			best, place, p.Ratio, p.Other = sum, o, r, most
		}
	}
	for r := slowest; r <= fastest; r *= 1 + step {
		if math.Abs(math.Log(r)) < guideReach {
			continue
		}
		for _, o := range places {
			try(o, r)
		}
	}
	const finer = 16
	coarse := p.Ratio
	for k := -finer; k <= finer; k++ {
		try(place, coarse*(1+float64(k)/finer*step))
	}
	p.Other *= float64(p.Notes) / float64(len(n.at))
}

// notes are moments of a file at which something begins, and how much each
// counts.
type notes struct{ at, weight []float64 }

func paceNotes(f *align.Features) notes {
	var n notes
	for _, e := range f.Events {
		if w := rise(e.Strength, 1.2, 4.5) * rise(e.Level, f.LoudDB-32, f.LoudDB-18); w > 0.3 {
			n.at, n.weight = append(n.at, e.Time), append(n.weight, w)
		}
	}
	return n
}

// rise goes from 0 at lo to 1 at hi.
func rise(x, lo, hi float64) float64 { return max(0, min(1, (x-lo)/(hi-lo))) }

// thinned is at most so many of the notes, from all over the file.
func (n notes) thinned(most int) notes {
	if len(n.at) <= most {
		return n
	}
	var out notes
	for i := range most {
		k := i * len(n.at) / most
		out.at, out.weight = append(out.at, n.at[k]), append(out.weight, n.weight[k])
	}
	return out
}

// powers of pulses, given in parts of a beat, when the file lies at o and was
// played r times as fast as the guide: the square of the length of the sum of
// unit vectors at the notes' phases, over the sum of squared weights (Mardia &
// Jupp, Directional Statistics, 2000, section 6.3.1).
func (n notes) powers(clock *beatClock, o, r float64, pulses []float64) []float64 {
	var re, im [16]float64
	norm := 0.0
	for i, t := range n.at {
		b, w := clock.beats(o+t*r), n.weight[i]
		norm += w * w
		for k, pulse := range pulses {
			turn := b * pulse
			s := int((turn-math.Floor(turn))*turnSteps) & (turnSteps - 1)
			re[k] += w * sines[(s+turnSteps/4)&(turnSteps-1)]
			im[k] += w * sines[s]
		}
	}
	out := make([]float64, len(pulses))
	for k := range out {
		out[k] = (re[k]*re[k] + im[k]*im[k]) / norm
	}
	return out
}

var sines = func() (s [turnSteps]float64) {
	for i := range s {
		s[i] = math.Sin(2 * math.Pi * (float64(i) + 0.5) / turnSteps)
	}
	return s
}()

// beatClock counts a map's beats.
type beatClock struct {
	even     bool // all beats are equally long
	from, to float64
	table    []float64 // beats every tableStep from from
	first    float64   // beats a second before from
	last     float64   // and after to
	most     float64   // the fastest
}

// newBeatClock is nil for a map without beats.
func newBeatClock(m *tempo.Map) *beatClock {
	var beats []tempo.Beat
	for b := range m.Beats() {
		if b.Length > 0 {
			beats = append(beats, b)
		}
	}
	if len(beats) == 0 {
		return nil
	}
	c := &beatClock{even: true, from: beats[0].Seconds, first: 1 / beats[0].Length, last: 1 / beats[len(beats)-1].Length}
	end := beats[len(beats)-1]
	c.to = end.Seconds + end.Length
	k := 0
	for t := c.from; t <= c.to; t += tableStep {
		for k+1 < len(beats) && beats[k+1].Seconds <= t {
			k++
		}
		// A hold is longer than its beat's length: the beat stands still.
		c.table = append(c.table, float64(k)+min(1, (t-beats[k].Seconds)/beats[k].Length))
	}
	for i, b := range beats {
		c.most = max(c.most, 1/b.Length)
		if math.Abs(b.Length-beats[0].Length) > 1e-6 || i > 0 && math.Abs(b.Seconds-beats[i-1].Seconds-beats[0].Length) > 1e-6 {
			c.even = false
		}
	}
	return c
}

func (c *beatClock) fastest() float64 { return c.most }

// beats at a guide time; beyond the map its first and last tempo go on.
func (c *beatClock) beats(guide float64) float64 {
	at := (guide - c.from) / tableStep
	n := len(c.table)
	switch {
	case c.even || at < 0:
		return (guide - c.from) * c.first
	case at >= float64(n-1):
		return c.table[n-1] + (at-float64(n-1))*tableStep*c.last
	}
	i := int(at)
	return c.table[i] + (c.table[i+1]-c.table[i])*(at-float64(i))
}

// places are where the file may lie: anywhere with ten seconds of its notes in
// the map. Where all beats are equal, one place is as good as any.
func (c *beatClock) places(n notes) []float64 {
	if c.even {
		return []float64{0}
	}
	const least = 10
	var out []float64
	for o := c.from - n.at[len(n.at)-1] + least; o <= c.to-n.at[0]-least; o += changeStep {
		out = append(out, o)
	}
	return out
}
