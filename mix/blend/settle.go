package blend

import (
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/mask"
	"ripieno/mix/robust"
)

// scene is one phrase: what every group sends and excites in it, with its register's gain.
type scene struct {
	roles             []Role
	power, excitation []mask.Powers
	plays             [][]bool
	start, by         []float64 // dB, of each group
}

// newScene cuts a phrase out of a crowd.
func newScene(c mask.Crowd, register, start []float64, roles []Role, p Phrase) *scene {
	s := &scene{roles: roles, start: start, by: make([]float64, len(roles))}
	for g := range c.Names {
		n := audio.Frames(len(c.Power[g]))
		from := min(max((p.From-c.First)/mask.Step, 0), n)
		to := min(max((p.To-c.First)/mask.Step, from), n)
		s.power = append(s.power, scaled(c.Power[g][from:to], register[g]))
		s.excitation = append(s.excitation, scaled(c.Excitation[g][from:to], register[g]))
		s.plays = append(s.plays, c.Plays[g][from:to])
	}
	return s
}

// scaled returns powers with a gain.
func scaled(list mask.Powers, db float64) mask.Powers {
	gain, out := math.Pow(10, db/10), make(mask.Powers, len(list))
	for i, m := range list {
		for b, p := range m {
			out[i][b] = gain * p
		}
	}
	return out
}

// How a phrase is settled. Needs are dB that a part lies under what is heard, negative over it, and
// count as those that three quarters of its moments stay under (see package mask).
const (
	spare      = -3.0 // whoever gives way keeps as much
	rounds     = 8
	eachRound  = 0.5 // of what is missing
	smallest   = 0.5 // dB; less is not moved
	tuneAbove  = 2.0 // phon by which a tune is louder than a filling voice
	leastHeard = 4   // moments; less of a part is not judged
)

// settle returns the gain of every group in the phrase, dB in steps of a half: in rounds each
// goes half the way to what its role asks for, within its bounds, until all have what they
// can have.
func (s *scene) settle() []float64 {
	loud := s.loudness()
	for range rounds {
		needs := s.needs()
		tune, known := s.tune(loud)
		missing := s.missing(needs)
		for g, role := range s.roles {
			if role == None || math.IsNaN(needs[g]) {
				continue
			}
			least, most := role.bounds(s.start[g])
			step := needs[g] - clear[role]
			if role != Melody && step < 0 {
				// Heard well: it gives way to whoever is not, and a filling voice to the tune,
				// as far as it stays heard; and it is not lifted for nothing.
				over := missing
				if known && role == Fill {
					over = max(over, loud[g]+s.by[g]+tuneAbove-tune)
				}
				step = max(-max(over, s.by[g], 0), min(0, needs[g]-spare))
			}
			s.by[g] = min(max(s.by[g]+eachRound*step, least), most)
		}
	}
	for g := range s.by {
		if s.by[g] = halves(s.by[g]); math.Abs(s.by[g]) < smallest {
			s.by[g] = 0
		}
	}
	return s.by
}

// clear is the need that a role asks for: a tune stands out, the others are heard.
// Steps of half a decibel leave a quarter of one.
var clear = map[Role]float64{Melody: -3, Bass: -0.5, Fill: -0.5}

// missing returns by how much whoever lacks most is short of what their role asks for, 0 for
// nobody.
func (s *scene) missing(needs []float64) float64 {
	most := 0.0
	for g, role := range s.roles {
		if role != None && !math.IsNaN(needs[g]) {
			most = max(most, needs[g]-clear[role])
		}
	}
	return most
}

// needs returns for every group the need that three quarters of its moments stay under; NaN
// for one that hardly plays.
func (s *scene) needs() []float64 {
	gain := make([]float64, len(s.by))
	for g, by := range s.by {
		gain[g] = math.Pow(10, by/10)
	}
	out := make([]float64, len(s.by))
	for g := range out {
		var list []float64
		for i, plays := range s.plays[g] {
			if !plays {
				continue
			}
			power, others := s.power[g][i], [mask.Bands]float64{}
			for b := range power {
				power[b] *= gain[g]
				for k := range s.excitation {
					if k != g {
						others[b] += gain[k] * s.excitation[k][i][b]
					}
				}
			}
			list = append(list, mask.Need(power, others))
		}
		if out[g] = math.NaN(); len(list) >= leastHeard {
			out[g] = robust.Quantile(list, 0.75)
		}
	}
	return out
}

// loudness returns how loud each group is in the phrase by itself, phon: the middle of its
// moments.
func (s *scene) loudness() []float64 {
	out := make([]float64, len(s.by))
	for g := range out {
		var list []float64
		for i, plays := range s.plays[g] {
			if plays {
				list = append(list, mask.Phon(s.power[g][i]))
			}
		}
		if len(list) > 0 {
			out[g] = robust.Quantile(list, 0.5)
		}
	}
	return out
}

// tune returns how loud who has the tune is, with its gain; false where nobody is known to
// have it.
func (s *scene) tune(loud []float64) (float64, bool) {
	for g, r := range s.roles {
		if r == Melody {
			return loud[g] + s.by[g], true
		}
	}
	return 0, false
}
