package mask

import (
	"math"

	"ripieno/mix/audio"
)

// Powers is the power of a group in every band, moment by moment; see [Gather].
type Powers [][Bands]float64

// Crowd is the groups of a mix, side by side in time.
type Crowd struct {
	Names []string // of the groups, in the order of their first strips
	First audio.Frames
	// Power is what each sends into every band, Excitation what it excites there.
	Power, Excitation []Powers
	// Plays is in which moments each plays: those not far under its own middle level.
	Plays [][]bool
}

// Gather adds the strips of every group up. Moments last [Step] and count from the earliest strip's
// first, which begins at guide frame First.
func Gather(strips []Strip) Crowd {
	groups, first, _ := collect(strips)
	c := Crowd{First: first}
	for _, s := range strips {
		g := groups[s.Group]
		if g == nil || g.listed {
			continue
		}
		g.listed = true
		c.Names = append(c.Names, s.Group)
		c.Power, c.Excitation = append(c.Power, g.power), append(c.Excitation, g.excitation)
		c.Plays = append(c.Plays, g.playing())
	}
	return c
}

// unheard is the power in a band that nobody hears even alone, of full scale: 5 dB under the threshold
// of hearing at 1 kHz, 0 dB of sound pressure.
const unheard = 1e-10

// Need returns by how many dB a sound of a power in every band lies under what is heard beside others
// that excite the bands so; 0 or less: it is heard.
func Need(power, others [Bands]float64) float64 {
	need := most
	for b, p := range power {
		if p < unheard {
			continue
		}
		need = math.Min(need, 10*math.Log10(math.Max(others[b], 1e-15)/math.Max(p, 1e-15))-under)
	}
	return need
}
