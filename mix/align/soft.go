package align

import "math"

// A note is heard later than it starts: the ear takes it to begin when its envelope
// passes a threshold below its peak ([Event.Heard]), and players make that fall on the
// beat. What is left of doubt grows with how slowly the note passes the thresholds that
// listeners were found to use ([Event.Vague]).

// How much of what is vague about a player's notes may be an error of them all; how far off,
// in seconds, they all may be when every one of them was found by a slow rise or a new pitch
// only; and how much more is vague where no clap tells.
const (
	vagueDoubt = 0.36
	softDoubt  = 0.022
	aloneDoubt = 0.5
)

// trust returns how much an event counts among a player's notes, 0..1.
func (e Event) trust() float64 {
	w := 1 / (1 + math.Pow(e.Vague/0.012, 2))
	if e.Slow || e.Pitch {
		w *= 0.7
	}
	return w
}
