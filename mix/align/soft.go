package align

import (
	"math"

	"ripieno/mix/robust"
)

// A note is heard later than it starts: the ear takes it to begin when its envelope
// passes a threshold below its peak ([Event.Heard]), and players make that fall on the
// beat. What is left of doubt grows with how slowly the note passes the thresholds that
// listeners were found to use ([Event.Vague]).

// How much of what is vague about a player's notes may be an error of them all, and the most
// that counts as vague, in seconds; how far off, in seconds, they all may be when every one of
// them was found by a slow rise or a new pitch only; how much of the scatter of the time that
// they take to be heard may be; and how much more is vague where no clap tells.
const (
	vagueDoubt  = 0.26
	mostVague   = 0.06
	softDoubt   = 0.026
	unevenDoubt = 0.56
	aloneDoubt  = 0.5
)

// doubtOf returns by how much a player's notes may be heard early or late as a whole, in seconds:
// vague is their median vagueness, soft the share that only a slow rise or a new pitch shows,
// and uneven the scatter of the time from where they start to where they are heard ([spreadOf]),
// since nobody can begin early by what each of their notes needs when each needs another time.
func doubtOf(vague, soft, uneven float64) float64 {
	return math.Hypot(math.Hypot(vagueDoubt*vague, softDoubt*soft), unevenDoubt*uneven)
}

// spreadOf returns the scatter of values round their median, as the standard deviation of a
// normal distribution that has it, whatever a third of them are: ends of notes and noises that
// are taken for soft notes take any time to be heard.
func spreadOf(v []float64) float64 {
	middle := robust.Median(v)
	away := make([]float64, len(v))
	for i, x := range v {
		away[i] = math.Abs(x - middle)
	}
	return robust.Spread(away)
}

// trust returns how much an event counts among a player's notes, 0..1.
func (e Event) trust() float64 {
	w := 1 / (1 + math.Pow(e.Vague/0.012, 2))
	if e.Slow || e.Pitch {
		w *= 0.7
	}
	return w
}
