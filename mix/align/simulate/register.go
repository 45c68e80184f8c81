package simulate

import (
	"math"
	"math/rand/v2"
)

// register is how the notes of a few neighbouring pitches of one player's instrument speak,
// against the others: a string, a fingering, a part of a voice. Whoever plays knows what their
// instrument needs, and begins as early as that; what one register needs more or less stays
// in what they play, so that a part that lies in two or three registers is heard some
// milliseconds early or late all along.
type register struct {
	attack float64 // times
	first  float64 // times
}

const (
	registerWide = 3 // semitones
	registers    = 9 // round the instrument's centre
)

// uneven returns how unequally an instrument's registers speak: one standard deviation of the
// logarithms of attack and of first. Read off the notes of a General MIDI sound font as
// [instruments] are: from pitch to pitch the time to 10 dB below the peak scatters by 0.4 to 0.6 of
// a logarithm for bows, by 0.5 for horns, by 0.1 to 0.5 for reeds and 0.2 to 0.3 for other winds and
// voices, a part of which is what low notes need more; that of what is struck or plucked by a
// millisecond. Some bowed notes pass 10 dB at once, others only as they swell, 50 to 100 ms later.
func (i instrument) uneven() (attack, first float64) {
	switch {
	case !i.held():
		return 0, 0
	case i.name == "bowed", i.name == "low bowed":
		return 0.35, 0.18
	case i.name == "horn", i.name == "reed":
		return 0.35, 0.08
	}
	return 0.15, 0.08
}

// newRegisters draws those of one player.
func newRegisters(r *rand.Rand, i instrument) [registers]register {
	var all [registers]register
	attack, first := i.uneven()
	for k := range all {
		all[k] = register{math.Exp(attack * r.NormFloat64()), math.Exp(first * r.NormFloat64())}
	}
	return all
}

// in returns the instrument as it speaks at a pitch.
func (i instrument) in(all [registers]register, pitch int) instrument {
	k := int(math.Floor(float64(pitch-i.centre)/registerWide+0.5)) + registers/2
	x := all[max(0, min(registers-1, k))]
	i.attack *= x.attack
	i.first = math.Min(1, i.first*x.first)
	return i
}

// needs returns how long before it is to be heard a player begins a note: the middle of what three
// long notes of their instrument need, low, middling and high, whatever the part has of them.
// Those who make files of sampled instruments reckon so too, and a player who has an ear for
// more than that is not known.
func (p *player) needs(r *rand.Rand) float64 {
	var all []float64
	for k := -1; k <= 1; k++ {
		s := sound{length: 0.7, loud: 0.65, pitch: p.inst.centre + 2*k*registerWide}
		all = append(all, p.inst.in(p.registers, s.pitch).vary(r, s).heard(s.length, p.ear))
	}
	return middle(all)
}
