package align

import "math"

// A note that rises gently is not heard at its beginning. How long after it
// [Event.Time] lies was measured on 17 thousand notes of simulated players of
// ten instruments, against the moments at which they were played (TestLateness
// does it again): it goes by how slowly a note rises and how far it stands out. A slurred
// note hardly does, and is heard when it has outgrown the one before. What
// the events' own lag has taken off too much is put back.

// curve goes in straight lines through points in order of x, and on at the
// level of the first and the last.
type curve [][2]float64

func (c curve) at(x float64) float64 {
	if x <= c[0][0] {
		return c[0][1]
	}
	for i := 1; i < len(c); i++ {
		if a, b := c[i-1], c[i]; x < b[0] {
			return a[1] + (b[1]-a[1])*(x-a[0])/(b[0]-a[0])
		}
	}
	return c[len(c)-1][1]
}

// slurs is how far an event that no band or only one rises for by much is a note
// slurred to the one before: 1 at a Spread of 0. A plucked note that begins
// while others still ring stands out as little, but spreads over more bands.
func (e Event) slurs() float64 { return 1 - ramp(e.Spread, 0, 0.25) }

// Lateness in seconds of notes that seem to rise at once, and of such that take
// a tenth of a second; of the latter, when they are not slurred, by strength in dB.
// Of what simulated slurs show, 21 and 7 ms, a third is held back: plucked
// notes that noise hides but for one band look the same.
const (
	slurAtOnce = 0.014
	slurGently = 0.005
	restAtOnce = 0.003
)

var lateGently = curve{{3.5, -0.0025}, {4.5, -0.0035}, {6, -0.005}, {8.5, -0.008}, {12, -0.0105}}

// late is how long after its beginning a note is heard beyond what its Time
// allows for, and doubt by how much that may be off for all such notes of a
// player together (one standard deviation), both in seconds. gentle, 0..1, says how
// far the player's notes rise gently at all: a weak note of a struck instrument
// is not a slurred one.
func (e Event) late(gentle float64) (late, doubt float64) {
	switch {
	case e.Pitch:
		return 0, pitchDoubt // early on some instruments, late on others
	case e.Slow:
		return 0, slowDoubt
	}
	x := ramp(e.Rise, 0, 0.1)
	atOnce, gently := restAtOnce*(1-ramp(e.Strength, 5, 10)), lateGently.at(e.Strength)
	if s := e.slurs(); s > 0 {
		atOnce, gently = s*slurAtOnce+(1-s)*atOnce, s*slurGently+(1-s)*gently
	}
	late = (1-x)*gentle*atOnce + x*gently
	return late, riseDoubt*e.Rise + lateDoubt*math.Max(0, late)
}

// What is left of doubt about all notes of a player together, in seconds or as a
// share of what it goes by. On the 327 files of gentle notes that they were set
// on, with all of a slur's lateness taken off and 0.4 of that as the doubt, the
// error of the playing was 0.87 times what is stated (root mean square), 2.6
// times at the 99th of 100 files and 3.6 times at worst. A third less taken off
// keeps as much doubt.
const (
	pitchDoubt = 0.012
	slowDoubt  = 0.018
	riseDoubt  = 0.03 // of a note's rise
	lateDoubt  = 0.60 // of what a note is heard late
)

// trust is how much an event counts among a player's notes, 0..1.
func (e Event) trust() float64 {
	w := 1 / (1 + math.Pow(e.Rise/0.06, 2))
	if e.Slow || e.Pitch {
		w *= 0.7
	}
	return w
}

// gentle is how far the notes that begin after from and before to, in guide
// seconds, when the file lies at o, rise gently: 0 struck, 1 bowed, blown or sung.
func (t *take) gentle(o, from, to float64) float64 {
	var rises []float64
	for i, e := range t.f.Events {
		if at := t.guide(o, i); t.weight[i] > 0.5 && at > from && at < to {
			rises = append(rises, e.Rise)
		}
	}
	if len(rises) == 0 {
		return 0
	}
	return ramp(median(rises), 0.012, 0.02)
}

// doubt is by how much all notes of a player like this one may be heard earlier or
// later than taken, in seconds (one standard deviation).
func (e Event) doubt() float64 {
	d := 0.003 + 0.15*math.Max(0, e.Rise-0.02)
	if e.Slow || e.Pitch {
		d = math.Max(d, 0.008)
	}
	return d
}
