package align

import (
	"math"

	"ripieno/mix/robust"
)

// hear sets when every event, in order of time, is heard to begin, and how well
// that is known.
func (p *profile) hear(events []Event) {
	clear := make([]bool, len(events))
	for i := range events {
		e := &events[i]
		n := int(e.Time / hop)
		until := n + ms(500)
		for _, next := range events[i+1:] {
			// What follows at once belongs to the same sound.
			if next.Time-e.Time > 0.12 && next.Strength > 0.4*e.Strength {
				until = min(until, int(next.Time/hop)-ms(10))
				break
			}
		}
		e.Heard, e.Vague, clear[i] = e.Time, 0, true
		if e.Rise > sharpRise || e.Slow || e.Pitch {
			var at float64
			at, e.Vague, clear[i] = p.heard(n, max(until, n+ms(50)))
			e.Heard = math.Max(e.Time, at)
		}
	}
	guessHeard(events, clear, func(e Event) bool { return e.Slow || e.Pitch })
	guessHeard(events, clear, func(e Event) bool { return !e.Slow && !e.Pitch })
}

// sharpRise is the longest rise, in seconds, of a sound that is heard when it starts.
const sharpRise = 0.008

// guessHeard lets notes of a kind that grow out of others, so that their own rise is
// hidden, be heard as long after they start as the player's other notes.
func guessHeard(events []Event, clear []bool, kind func(Event) bool) {
	var delays, vague []float64
	for i, e := range events {
		if clear[i] && e.Vague > 0 && kind(e) {
			delays, vague = append(delays, e.Heard-e.Time), append(vague, e.Vague)
		}
	}
	delay, doubt := 0.0, leastGuessed
	if len(delays) >= minNotes {
		delay, doubt = robust.Median(delays), math.Max(doubt, 2*robust.Median(vague))
	}
	for i := range events {
		if e := &events[i]; !clear[i] && kind(*e) {
			e.Heard, e.Vague = e.Time+delay, doubt
		}
	}
}

// leastGuessed is how vague, in seconds, a beginning is at least that was not measured.
const leastGuessed = 0.03

// heardBelow is how far below its peak a note's envelope is when the ear takes
// the note to begin, in dB: between 6 and 15 in Vos and Rasch (1981, "The
// perceptual onset of musical tones"), second hand. heardLeast and heardMost are
// these limits.
const (
	heardBelow = 10
	heardLeast = 6
	heardMost  = 15
)

// heard returns the time, in seconds of the file, at which the sound that begins round hop n
// first passes heardBelow on its way to the peak that it reaches before hop until, and half
// the time it takes from heardMost to heardLeast. It reports false when the sound before it
// is as loud as that.
func (p *profile) heard(n, until int) (at, vague float64, ok bool) {
	env := p.envelope(n-heardBack, until)
	from := 0
	for i := range min(len(env), heardBack+heardAfter) {
		if env[i] < env[from] {
			from = i
		}
	}
	top := from
	for i, v := range env[from:] {
		if v > env[top] {
			top = from + i
		}
	}
	pass := func(below float64) (float64, bool) {
		want := env[top] * math.Pow(10, -below/10)
		for i := from; i < top; i++ {
			if env[i] < want && env[i+1] >= want {
				return (float64(n-heardBack+i) + (want-env[i])/(env[i+1]-env[i])) * hop, true
			}
		}
		return float64(n) * hop, false
	}
	if at, ok = pass(heardBelow); !ok {
		return at, 0, false
	}
	late, _ := pass(heardLeast)
	early, deep := pass(heardMost)
	if !deep {
		early = at - (late - at)
	}
	return at, math.Max(hop, (late-early)/2), true
}

// heardBack and heardAfter are how many hops before and after the found beginning of a note
// the sound is looked at for the quiet moment that it grows out of.
const (
	heardBack  = 50
	heardAfter = 20
)

// envelope returns the energy of all bands over envelopeHops round every hop of [from, to).
func (p *profile) envelope(from, to int) []float64 {
	env := make([]float64, max(1, to-from))
	for b := range p.sum {
		for i := range env {
			env[i] += p.mean(b, from+i-envelopeHops/2, from+i+envelopeHops-envelopeHops/2)
		}
	}
	return env
}

// envelopeHops is over how many hops an envelope is taken: one period of a low note.
const envelopeHops = 8
