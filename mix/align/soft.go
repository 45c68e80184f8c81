package align

import "math"

// A note is heard later than it starts: the ear takes it to begin when its envelope
// passes a threshold below its peak ([Event.Heard]), and players make that fall on the
// beat. What is left of doubt grows with how slowly the note rises.

// doubt is by how much all notes of a player like this one may be heard earlier or
// later than taken, in seconds (one standard deviation).
func (e Event) doubt() float64 {
	d := 0.003 + riseDoubt*math.Max(0, e.Rise-0.02)
	if e.Slow || e.Pitch {
		d = math.Max(d, slowDoubt)
	}
	return d
}

const (
	riseDoubt = 0.15  // of a note's rise
	slowDoubt = 0.008 // seconds, of notes found over long stretches or by their pitch
)

// trust is how much an event counts among a player's notes, 0..1.
func (e Event) trust() float64 {
	w := 1 / (1 + math.Pow(e.Rise/0.06, 2))
	if e.Slow || e.Pitch {
		w *= 0.7
	}
	return w
}
