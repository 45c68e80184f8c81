// Package blend balances parts as an ensemble does that listens to itself: what lies low is
// brought to the loudness that the ear gives it, who has the tune is lifted until it stands
// out, the bass is held up, and filling voices stay below the tune and heard.
//
// It moves little: two decibels by register for a whole piece, and by role, phrase by phrase, a few
// more than bring a part back to being as loud as all others. What counts as heard is said by package
// mask, what is loud by the specific loudness of ISO 532-1. The rules and their figures are those of
// rehearsals (common practice, no source).
package blend

import (
	"math"
	"slices"

	"ripieno/mix/audio"
	"ripieno/mix/mask"
	"ripieno/mix/robust"
)

// Version is the version of what [Find] computes. Raise it when a gain changes, also by what package
// mask says of who is heard.
const Version = 1

// Role is what a part is in a phrase.
type Role int

// The roles. None is that of a part that rests, or of which nothing is known.
const (
	None Role = iota
	Melody
	Bass
	Fill
)

// Phrase is a stretch of guide frames with the role of every strip.
type Phrase struct {
	From, To audio.Frames
	Roles    []Role
}

// Move is a change of gain over a stretch of guide frames.
type Move struct {
	From, To audio.Frames
	Role     Role
	Gain     audio.Decibels
}

// Blend is what is added to the gain of a strip.
type Blend struct {
	Register audio.Decibels // for the whole piece
	Moves    []Move         // in order of time, and not over each other
}

// bounds returns the least and the most that a role moves a part by, dB, which begins start dB
// from being as loud as all others. A filling voice may be brought back to that and 2 dB
// farther, so that no instrument is hidden for being a soft one; a bass gives up half of what
// it has more than others, a tune nothing.
func (r Role) bounds(start float64) (least, most float64) {
	switch r {
	case Melody:
		return 0, max(0, -start) + 4
	case Bass:
		return -max(0, start) / 2, max(0, -start) + 3
	case Fill:
		return -max(0, start) - 2, max(0, -start) + 2
	}
	return 0, 0
}

// Find returns what is added to every strip, whose gains make all equally loud but for starts, dB,
// by their instruments: strips of one group get the same. Phrases are in order of time; without any
// all are filling voices throughout. One group alone is left as it is.
func Find(strips []mask.Strip, starts []audio.Decibels, phrases []Phrase) []Blend {
	out := make([]Blend, len(strips))
	crowd := mask.Gather(strips)
	if len(crowd.Names) < 2 {
		return out
	}
	group := make([]int, len(strips))
	for i, s := range strips {
		group[i] = slices.Index(crowd.Names, s.Group)
	}
	if len(phrases) == 0 {
		phrases = []Phrase{unknown(strips)}
	}
	register := registers(crowd)
	start := slices.Clone(register)
	for i, g := range group {
		start[g] = register[g] + float64(starts[i])
	}
	moves := make([][]Move, len(crowd.Names))
	for _, p := range phrases {
		roles := make([]Role, len(crowd.Names))
		for i, r := range p.Roles {
			roles[group[i]] = max(roles[group[i]], r)
			if r == Melody {
				roles[group[i]] = Melody
			}
		}
		for g, by := range newScene(crowd, register, start, roles, p).settle() {
			if by != 0 {
				moves[g] = join(moves[g], Move{p.From, p.To, roles[g], audio.Decibels(by)})
			}
		}
	}
	for i := range out {
		out[i] = Blend{audio.Decibels(register[group[i]]), moves[group[i]]}
	}
	return out
}

// unknown is the whole piece with strips of which nobody knows what they are: filling voices.
func unknown(strips []mask.Strip) Phrase {
	p := Phrase{From: strips[0].From, To: strips[0].From}
	for _, s := range strips {
		p.From = min(p.From, s.From)
		p.To = max(p.To, s.From+audio.Frames(len(s.Levels.Moments))*mask.Step)
		p.Roles = append(p.Roles, Fill)
	}
	return p
}

// join adds a move to a list; one that goes on like the last becomes one with it.
func join(list []Move, m Move) []Move {
	if n := len(list); n > 0 && list[n-1].To == m.From && list[n-1].Gain == m.Gain && list[n-1].Role == m.Role {
		list[n-1].To = m.To
		return list
	}
	return append(list, m)
}

// How far the ear's loudness is followed: half of it, and no farther than mostRegister dB.
const registerShare, mostRegister = 0.5, 2.0

// registers returns by how much each group is moved since the ear hears it louder or softer
// than its level says: half of what it differs by from the middle one, in steps of half a
// decibel.
func registers(c mask.Crowd) []float64 {
	phons, levels := make([]float64, len(c.Names)), make([]float64, len(c.Names))
	for g := range c.Names {
		var phon, level []float64
		for i, plays := range c.Plays[g] {
			if plays {
				phon = append(phon, mask.Phon(c.Power[g][i]))
				level = append(level, weighted(c.Power[g][i]))
			}
		}
		if len(phon) > 0 {
			phons[g], levels[g] = robust.Quantile(phon, 0.5), robust.Quantile(level, 0.5)
		} else {
			phons[g], levels[g] = math.NaN(), math.NaN()
		}
	}
	var heard []float64
	for g := range phons {
		if phons[g] -= levels[g]; !math.IsNaN(phons[g]) {
			heard = append(heard, phons[g])
		}
	}
	out := make([]float64, len(phons))
	if len(heard) == 0 {
		return out
	}
	middle := robust.Quantile(heard, 0.5)
	for g, p := range phons {
		if !math.IsNaN(p) {
			out[g] = halves(min(max(registerShare*(middle-p), -mostRegister), mostRegister))
		}
	}
	return out
}

// weighted returns the level of powers, dB of full scale.
func weighted(power [mask.Bands]float64) float64 {
	sum := 1e-15
	for _, p := range power {
		sum += p
	}
	return 10 * math.Log10(sum)
}

// halves rounds to half a decibel.
func halves(v float64) float64 { return math.Round(2*v) / 2 }
