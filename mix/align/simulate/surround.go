package simulate

import (
	"math"
	"math/rand/v2"
)

// surround adds what else is heard: while the player waits for the guide,
// during the count-in, in the music and after it.
func (p *player) surround(r *rand.Rand) {
	p.early = 3 + 9*r.Float64()
	if p.level > Easy && r.Float64() < 0.2 {
		p.early = 60 * r.Float64()
	}
	if p.level > Easy {
		p.wait(r)
		p.post(r)
	}
	if p.level == Hard {
		p.disturbCount(r)
		p.restart(r)
		if r.Float64() < 0.05 {
			p.tap(r)
		}
	}
}

// chance reports true in that share of cases: of Typical, of Hard.
func (p *player) chance(r *rand.Rand, typical, hard float64) bool {
	return r.Float64() < [...]float64{0, typical, hard}[p.level]
}

// wait adds what is heard before the guide begins.
func (p *player) wait(r *rand.Rand) {
	from, until := -p.early+0.5, -1.0
	if until-from < 1 {
		return
	}
	moment := func() float64 { return from + (until-from)*r.Float64() }
	if p.chance(r, 0.4, 0.45) {
		for range 4 + r.IntN(6) {
			p.note(r, moment())
		}
	}
	if p.chance(r, 0.5, 0.6) {
		p.talk(r, moment(), until, 1+3*r.Float64(), -10+10*r.Float64())
	}
	if p.chance(r, 0.4, 0.45) {
		loud := -14 + 10*r.Float64()
		for at := from; at < math.Min(until, from+5); at += 0.45 + 0.2*r.Float64() {
			p.add("thump", at, loud+3*r.NormFloat64())
		}
	}
	if p.chance(r, 0.1, 0.15) && !math.IsNaN(p.cue) {
		p.add("clap", moment(), p.clap-2+5*r.Float64())
	}
	if p.chance(r, 0.05, 0.1) {
		p.add("bang", moment(), 5*r.Float64())
	}
	if p.chance(r, 0.5, 0.6) {
		for range 1 + r.IntN(3) {
			p.rustle(r, from+(p.m.Start()-from)*r.Float64())
		}
	}
}

// post adds what is heard after the music.
func (p *player) post(r *rand.Rand) {
	at := p.m.End() + 1.2 + 2*r.Float64()
	if r.Float64() < 0.5 {
		p.talk(r, at, math.Inf(1), 0.8+2*r.Float64(), -8)
	}
	if r.Float64() < 0.2 {
		p.add("bang", at+1, -4+8*r.Float64())
	}
}

// disturbCount adds what goes wrong in the count-in of a hard take.
func (p *player) disturbCount(r *rand.Rand) {
	cue, measure := p.m.Cue(), float64(p.m.Meter(1).Beats())*p.beat
	switch x := r.Float64(); {
	case x < 0.06: // counting aloud
		for k := range 2 * p.m.Meter(1).Beats() {
			at := p.m.Start() - 2*measure + float64(k)*p.beat - 0.02
			p.sounds = append(p.sounds, sound{kind: "speech", at: at, length: 0.18, pitch: 50, loud: -4})
		}
	case x < 0.12 && !math.IsNaN(p.cue): // a clap some beats early, and then the right one
		beats := []float64{2 * measure, measure, 2 * p.beat}[r.IntN(3)]
		p.add("clap", cue-beats+0.02*r.NormFloat64(), p.clap+1)
	case x < 0.27: // talking or playing until just before the cue
		at := cue - 2.2 - 0.8*r.Float64()
		p.talk(r, at, cue-0.2, 2, -6)
	case x < 0.35:
		for range 4 {
			p.note(r, measure*1.2*r.Float64())
		}
	case x < 0.43: // a door
		if at := p.m.Start() * r.Float64(); math.Abs(at-cue) > 0.6 {
			p.add("bang", at, 5*r.Float64())
		}
	case x < 0.5: // chair, valves or breath between the cue and the first note
		p.add("thump", cue+(p.m.Start()-cue)*(0.2+0.7*r.Float64()), -14+6*r.Float64())
	}
}

// restart adds a whole false start before the guide ran anew: a cue and the first
// measures.
func (p *player) restart(r *rand.Rand) {
	played := p.m.Start() + 2.5*float64(p.m.Meter(1).Beats())*p.beat
	back := played + 4
	if r.Float64() > 0.04 || back > 50 {
		return
	}
	p.early = back + 2 + 5*r.Float64()
	for _, s := range p.sounds[:len(p.notes)] {
		if s.at < played {
			s.at += 0.012*r.NormFloat64() - back
			s.slur, s.tied = false, false
			p.sounds = append(p.sounds, s)
		}
	}
	if !math.IsNaN(p.cue) {
		p.sounds = append(p.sounds, p.cueSound(p.cue+0.015*r.NormFloat64()-back))
	}
}

// tap adds a foot that beats time.
func (p *player) tap(r *rand.Rand) {
	for b := range p.m.Beats() {
		if !b.CountIn {
			p.add("thump", b.Seconds+0.012*r.NormFloat64(), -12)
		}
	}
}

func (p *player) add(kind string, at, loud float64) {
	p.sounds = append(p.sounds, sound{kind: kind, at: at, loud: loud})
}

// note adds a note of warming up, of any pitch near the middle of the instrument.
func (p *player) note(r *rand.Rand, at float64) {
	s := sound{kind: "note", at: at, length: 0.15 + 0.45*r.Float64(), loud: 0.4 + 0.4*r.Float64()}
	s.pitch = p.inst.centre + r.IntN(19) - 9
	p.sounds = append(p.sounds, s)
}

// talk adds syllables for some seconds, none of them after until.
func (p *player) talk(r *rand.Rand, at, until, seconds, loud float64) {
	voice := 45 + r.IntN(12)
	for end := math.Min(until, at+seconds); at < end-0.2; {
		s := sound{kind: "speech", at: at, length: 0.1 + 0.12*r.Float64(), pitch: voice + r.IntN(4)}
		s.loud = loud - 6*r.Float64()
		p.sounds = append(p.sounds, s)
		at += 0.14 + 0.2*r.Float64()
		if r.Float64() < 0.15 {
			at += 0.4
		}
	}
}

func (p *player) rustle(r *rand.Rand, at float64) {
	p.sounds = append(p.sounds, sound{kind: "rustle", at: at, length: 0.2 + r.Float64(), loud: -20 + 12*r.Float64()})
}

// newLeak returns how loud the guide leaks into the microphone, in dB of a click
// over the music's peak: through headphones, or from a loudspeaker.
func newLeak(r *rand.Rand, o Options) float64 {
	share, loud := r.Float64(), r.Float64()
	switch {
	case o.Leak != nil:
		return *o.Leak
	case o.Level == Hard && share < 0.05:
		return -6 + 12*loud
	case share < [...]float64{0.05, 0.22, 0.3}[o.Level]:
		return -28 + 14*loud
	}
	return math.NaN()
}
