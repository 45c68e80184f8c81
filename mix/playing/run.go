package playing

import (
	"math"
	"ripieno/mix/robust"
	"slices"
)

// A tone is a run of windows whose pitch moves less than step from one to the
// next and stays within reach of the middle of the last few: wide enough for a
// singer's vibrato, narrower than the way to the next semitone.
const (
	step  = 0.45 // semitones
	reach = 0.8  // semitones
	// A window is longer than it is wide: those at either end of a run hold
	// part of the note before or after.
	atFront, atBack = 2, 2
	fewest          = 5    // windows that are left
	wobbly          = 60.0 // cents of wobble above which there is no one pitch
)

// run is the tone that sounds.
type run struct {
	at, note []float64
	energy   []float64
}

// reset begins the next tone and keeps the memory of the last.
func (r *run) reset() { r.at, r.note, r.energy = r.at[:0], r.note[:0], r.energy[:0] }

// add appends a window: its time in seconds, its pitch in semitones and its level in decibels.
func (r *run) add(at, note, level float64) {
	r.at, r.note, r.energy = append(r.at, at), append(r.note, note), append(r.energy, math.Pow(10, level/10))
}

// holds reports whether a pitch goes on with the run.
func (r *run) holds(note float64) bool {
	n := len(r.note)
	if n == 0 {
		return true
	}
	recent := slices.Clone(r.note[max(0, n-12):])
	return math.Abs(note-r.note[n-1]) < step && math.Abs(note-robust.Median(recent)) < reach
}

// tone returns what the run amounts to, false for nothing.
func (r *run) tone() (Tone, bool) {
	n := len(r.note) - atFront - atBack
	if n < fewest {
		return Tone{}, false
	}
	notes := r.note[atFront : atFront+n]
	middle := robust.Median(slices.Clone(notes))
	away := make([]float64, n)
	for i, v := range notes {
		away[i] = math.Abs(v - middle)
	}
	wobble := robust.Spread(away)
	// The mean of what lies about the middle: over a vibrato it is steadier
	// than the median, whose place between two crests is a matter of chance.
	bound := max(0.05, 2.5*wobble)
	sum, count, energy := 0.0, 0, 0.0
	for i, v := range notes {
		if math.Abs(v-middle) <= bound {
			sum += v
			count++
		}
		energy += r.energy[atFront+i]
	}
	t := Tone{
		From: r.at[atFront], To: r.at[atFront+n-1], Note: sum / float64(count), Wobble: 100 * wobble,
		Level: 10 * math.Log10(energy/float64(n)+1e-20),
	}
	return t, t.Wobble <= wobbly
}
