package plan

import (
	"math"
	"slices"

	"ripieno/assemble/production"
	"ripieno/mix"
	"ripieno/mix/audio"
)

// Mix is how the strips become the sound of the film.
type Mix struct {
	Loudness float64 // LUFS, integrated, of the delivered sound
	TruePeak float64 // dBTP, its ceiling
	Balance  bool    // levels are set automatically
	Ensemble bool    // by the sound powers of parts
	Room     float64 // 0 to 1, how much of the shared room
	Hall     Hall
	FadeIn   float64   // seconds at the film's beginning
	FadeOut  float64   // seconds at its end
	Sections []Section // in the manifest's order, whether heard or not
}

// Hall is the shared room. Seconds; see package room.
type Hall struct {
	Decay, High, PreDelay, Size float64
}

// Section is a group of players.
type Section struct {
	Name   string
	Slug   string         // what files are called after it; may be empty, and that of two sections
	Gain   audio.Decibels // the manifest's
	Target *float64       // LUFS of all of it together under automatic balance; nil: none
}

// newMix takes over what the manifest says of the mix.
func newMix(p *production.Production) Mix {
	m := p.Mix
	out := Mix{
		Loudness: m.LoudnessLUFS, TruePeak: m.TruePeakDB, Balance: m.AutoBalance, Ensemble: m.Ensemble, Room: m.Room,
		Hall:   Hall(m.Hall),
		FadeIn: m.FadeIn, FadeOut: m.FadeOut,
	}
	for _, s := range p.Sections {
		out.Sections = append(out.Sections, Section{s.Name, production.Slug(s.Name), audio.Decibels(s.GainDB),
			s.TargetLUFS})
	}
	return out
}

// Keep leaves the strips out of the mix that are not wanted.
func (p *Plan) Keep(wanted func(Strip) bool) {
	p.Strips = slices.DeleteFunc(slices.Clone(p.Strips), func(s Strip) bool { return !wanted(s) })
	p.group()
}

// group gives every strip the gain of its section. Under automatic balance a
// section with a target shares it among its strips: unrelated sounds add up in
// power, so n strips are each 10·log10(n) softer than all of them together. Balance of
// an ensemble adds what the sound powers of parts differ by.
func (p *Plan) group() {
	count := map[string]int{}
	for _, s := range p.Strips {
		count[s.Section]++
	}
	for i := range p.Strips {
		s := &p.Strips[i]
		s.Group = 0
		if p.Mix.Ensemble {
			s.Group = mix.PowerGain(s.Part)
		}
		k := slices.IndexFunc(p.Mix.Sections, func(x Section) bool { return x.Name == s.Section })
		if k < 0 {
			continue
		}
		gain := float64(p.Mix.Sections[k].Gain)
		if target := p.Mix.Sections[k].Target; target != nil && p.Mix.Balance {
			gain += *target - float64(mix.StripTarget) - 10*math.Log10(float64(count[s.Section]))
		}
		s.Group += audio.Decibels(gain)
	}
}
