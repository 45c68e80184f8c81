package demo

import (
	"math"
	"math/rand/v2"

	"ripieno/assemble/demo/figure"
	"ripieno/assemble/demo/instrument"
	"ripieno/assemble/demo/score"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// played is one attack as a person made it, in guide time.
type played struct {
	from, to float64
	pitches  []int
	level    float64
}

// performance is everything one player does in front of the devices.
type performance struct {
	clap  float64 // guide time at which the hands meet
	force float64 // of the clap, its peak in the dry sound
	notes []played
}

// perform plays a part with a player's human timing: every attack is late by
// the player's habit and by a little chance besides. The average of the
// chances is taken out, so that the habit is the player's true mean lateness.
func perform(m *tempo.Map, part score.Part, p player, random *rand.Rand) (performance, error) {
	out := performance{clap: m.Cue() + p.clapErrorMS/1000, force: 0.75 * audio.Decibels(-p.softClap).Gain()}
	slips := make([]float64, len(part.Notes))
	mean := 0.0
	for i := range slips {
		// Nobody with a click in the ear is three deviations off.
		slips[i] = p.jitterMS * min(max(random.NormFloat64(), -2.5), 2.5)
		mean += slips[i] / float64(len(slips))
	}
	for i, n := range part.Notes {
		from, err := score.Seconds(m, n.From)
		if err != nil {
			return performance{}, err
		}
		to, err := score.Seconds(m, n.To)
		if err != nil {
			return performance{}, err
		}
		if n.Short {
			to = from + (to-from)/2
		}
		late := (p.biasMS + slips[i] - mean) / 1000
		level := n.Level * (1 + 0.06*random.NormFloat64())
		if n.From.Tick == 0 {
			level *= 1.08 // downbeats weigh a little more
		}
		out.notes = append(out.notes, played{from + late, to + late, n.Pitches, min(level, 1)})
	}
	// A note ends when the next begins, however early that comes.
	for i := range len(out.notes) - 1 {
		if next := out.notes[i+1].from; out.notes[i].to > next-0.02 {
			out.notes[i].to = next
		}
	}
	return out, nil
}

// strum is the time from string to string of a chord, in seconds.
const strum = 0.009

// dry returns the sound of a performance in the air close by, without room or
// device: frames samples at [instrument.Rate], the first one at guide time
// start.
func (p performance) dry(kind instrument.Kind, cents, start float64, frames int, random *rand.Rand) []float64 {
	dst := make([]float64, frames)
	var tones []instrument.Tone
	for _, n := range p.notes {
		for s, pitch := range n.pitches {
			// The chord is on time with its last string, which carries
			// the tune; a single note is on time itself.
			early := strum * float64(len(n.pitches)-1-s)
			tones = append(tones, instrument.Tone{
				Start: n.from - early - start,
				End:   n.to - start,
				Hz:    instrument.Hertz(pitch, 440, cents),
				Level: n.level / math.Sqrt(float64(len(n.pitches))),
			})
		}
	}
	kind.Play(dst, tones, random)
	instrument.Clap(dst, p.clap-start, p.force, random)
	return dst
}

// motion returns the performance for the eye.
func (p performance) motion(m *tempo.Map, phase float64) *figure.Motion {
	notes := make([]figure.Note, len(p.notes))
	for i, n := range p.notes {
		notes[i] = figure.Note{From: n.from, To: n.to, Pitch: n.pitches[len(n.pitches)-1], Level: n.level}
	}
	var beats []float64
	for b := range m.Beats() {
		beats = append(beats, b.Seconds)
	}
	return figure.NewMotion(notes, p.clap, beats, phase)
}
