package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"

	"ripieno/mix/tempo"
)

// instrument is how a player's notes sound.
type instrument struct {
	name     string
	attack   float64 // seconds to full level
	shape    float64 // exponent of the rise: 1 straight, 2 slow to begin
	decay    float64 // seconds to fall by 60 dB while held; +Inf sustained
	release  float64
	partials []float64
	breath   float64 // noise that comes with the attack
	vibrato  float64 // semitones
	centre   int     // MIDI note
}

var instruments = []instrument{
	{"struck bars", 0.001, 1, 1.2, 0.2, []float64{1, 0, 0.5, 0, 0.3, 0.2}, 0.3, 0, 72},
	{"plucked strings", 0.002, 1, 1.8, 0.1, []float64{1, 0.7, 0.5, 0.4, 0.3, 0.2}, 0.15, 0, 57},
	{"drum", 0.001, 1, 0.25, 0.05, []float64{1, 0.6, 0.5}, 2.5, 0, 45},
	{"reed", 0.015, 1, math.Inf(1), 0.05, []float64{1, 0.2, 0.7, 0.2, 0.5, 0.3}, 0.1, 0.1, 67},
	{"brass", 0.03, 1.3, math.Inf(1), 0.06, []float64{1, 0.9, 0.8, 0.6, 0.45, 0.3}, 0.08, 0, 55},
	{"flute", 0.04, 1, math.Inf(1), 0.06, []float64{1, 0.35, 0.15, 0.05}, 0.2, 0.25, 76},
	{"low brass", 0.045, 1.3, math.Inf(1), 0.08, []float64{0.8, 1, 0.9, 0.7, 0.5, 0.3}, 0.08, 0, 41},
	{"bowed", 0.09, 1.2, math.Inf(1), 0.12, []float64{1, 0.6, 0.6, 0.4, 0.4, 0.3, 0.2}, 0.1, 0.25, 62},
	{"low bowed", 0.1, 1.2, math.Inf(1), 0.15, []float64{1, 0.8, 0.6, 0.5, 0.4, 0.3}, 0.1, 0.15, 45},
	{"voice", 0.08, 1, math.Inf(1), 0.1, []float64{1, 0.8, 0.5, 0.5, 0.2, 0.1}, 0.05, 0.4, 64},
}

// ahead is how long before a note is heard to begin its player has to begin: the
// ear takes it from about 10 dB below its peak on (Vos and Rasch, 1981: 6 to 15).
func (i instrument) ahead() float64 { return i.attack * math.Pow(10, -10.0/20/i.shape) }

// Slow reports whether an attack of that many seconds pulls naive onset
// timing off: bowed and sung notes.
func (t Truth) Slow() bool { return t.Attack > 0.05 }

// sound is something that happens at a guide time.
type sound struct {
	kind   string // note, clap, snap, thump, bang, speech, click, high
	at     float64
	length float64
	pitch  int
	loud   float64
	slur   bool // goes on from the note before without a new attack
	tied   bool // the next note is slurred to this one
}

// player is a person with an instrument; the sounds are the same for all of
// their devices.
type player struct {
	name   string
	m      *tempo.Map
	inst   instrument
	sounds []sound
	notes  []Note
	late   float64
	wrote  []float64 // guide seconds at which the part's notes are written
	cue    float64   // guide time of the cue sound; NaN none
	cued   string
	level  Level
	beat   float64
}

func newPlayer(r *rand.Rand, number uint64, i int, m *tempo.Map, s *score, o Options) *player {
	p := &player{
		name: fmt.Sprintf("p%02d", i+1), m: m, level: o.Level,
		inst: instruments[r.IntN(len(instruments))], cue: math.NaN(), cued: "none",
	}
	p.inst.attack *= 0.7 + 0.6*r.Float64()
	for b := range m.Beats() {
		if b.Cue {
			p.beat = b.Length
		}
	}
	role := role(r.IntN(int(pulse)))
	if p.inst.name == "drum" && role == long {
		role = bass
	}
	p.play(r, s.part(r, role, p.inst.centre, o))
	p.slurs(rng(number, "slurs", i))
	p.giveCue(r)
	p.distract(r)
	if r.Float64() < [...]float64{0.1, 0.25, 0.4}[o.Level] {
		p.bleed(r)
	}
	return p
}

// slurs marks notes that are played in one bow or breath with the one before.
func (p *player) slurs(r *rand.Rand) {
	if !math.IsInf(p.inst.decay, 1) {
		return // struck and plucked notes have an attack each
	}
	share := 0.8 * r.Float64()
	for i := 1; i < len(p.sounds); i++ {
		a, b := &p.sounds[i-1], &p.sounds[i]
		if b.at-a.at < 1 && a.pitch != b.pitch && r.Float64() < share {
			a.tied, b.slur = true, true
			b.loud = a.loud * (0.85 + 0.3*r.Float64())
			b.at += p.inst.ahead() // it has no attack to begin early for
			a.length = b.at - a.at
		}
	}
}

// play turns written notes into played ones.
func (p *player) play(r *rand.Rand, notes []note) {
	bias := 0.015 * r.NormFloat64()
	jitter := 0.006 + 0.012*r.Float64()
	wander, slow := 0.0, 0.008*r.Float64()
	for _, n := range notes {
		p.wrote = append(p.wrote, n.at)
		wander = 0.95*wander + slow*0.3*r.NormFloat64()
		d := bias + wander + jitter*r.NormFloat64()
		p.sounds = append(p.sounds, sound{kind: "note", at: n.at + d - p.inst.ahead(), length: n.length, pitch: n.pitch, loud: n.loud})
		p.notes = append(p.notes, Note{Written: n.at, Played: n.at + d, MIDI: n.pitch})
		p.late += d / float64(len(notes))
	}
}

// giveCue claps, snaps or plays at the cue, as well as a person can.
func (p *player) giveCue(r *rand.Rand) {
	miss := [...]float64{0, 0.01, 0.06}[p.level]
	if r.Float64() < miss {
		return
	}
	at := p.m.Cue() + 0.018*r.NormFloat64()
	p.cued = "clap"
	switch x := r.Float64(); {
	case p.level > Easy && x < 0.15:
		p.cued = "note"
	case p.level > Easy && x < 0.22:
		p.cued = "snap"
	}
	if p.level == Hard && r.Float64() < 0.06 {
		// The player claps on the wrong beat and nowhere else.
		at += p.beat * float64([]int{-2, -1, 1, 2, 4}[r.IntN(5)])
		p.cued = "false"
	}
	p.cue = at
	loud := 0.4 + 0.6*r.Float64()
	if p.level == Hard && r.Float64() < 0.2 {
		loud *= 0.2
	}
	kind := p.cued
	if kind == "false" {
		kind = "clap"
	}
	p.sounds = append(p.sounds, sound{kind: kind, at: at, length: 0.12, pitch: p.inst.centre, loud: loud})
	if p.level == Hard && r.Float64() < 0.25 {
		// A clap too many: too early, or a second one to be sure.
		off := p.beat * float64([]int{-8, -4, -3, -2, -1, 1, 2}[r.IntN(7)])
		if r.Float64() < 0.3 {
			off = (r.Float64() - 0.8) * 6
		}
		p.sounds = append(p.sounds, sound{kind: "clap", at: at + off, length: 0.1, loud: loud * (0.6 + 0.6*r.Float64())})
	}
}

// distract adds what else was heard before and after the music.
func (p *player) distract(r *rand.Rand) {
	start := p.m.Start()
	quietFrom := [...]float64{-2, 0.3 * p.m.Cue(), p.m.Cue() - 0.8}[p.level]
	n := [...]int{2, 5, 9}[p.level]
	for range r.IntN(n + 1) {
		at := quietFrom - 40*r.Float64()*r.Float64()
		p.happen(r, at, quietFrom)
	}
	if p.level == Hard && r.Float64() < 0.2 {
		// Breath, chair, valve noise between the cue and the first note.
		p.sounds = append(p.sounds, sound{kind: "thump", at: p.m.Cue() + (start-p.m.Cue())*(0.2+0.7*r.Float64()), length: 0.1, loud: 0.1 + 0.1*r.Float64()})
	}
	for range r.IntN(n) {
		p.happen(r, p.m.End()+2+10*r.Float64(), math.Inf(1))
	}
}

func (p *player) happen(r *rand.Rand, at, until float64) {
	switch r.IntN(5) {
	case 0:
		t := at
		for range 3 + r.IntN(8) {
			if t += 0.1 + 0.4*r.Float64(); t < until {
				p.sounds = append(p.sounds, sound{kind: "note", at: t, length: 0.25, pitch: p.inst.centre + r.IntN(9) - 4, loud: 0.3 + 0.4*r.Float64()})
			}
		}
	case 1:
		t := at
		for range 4 + r.IntN(16) {
			if t += 0.14 + 0.12*r.Float64(); t < until {
				p.sounds = append(p.sounds, sound{kind: "speech", at: t, length: 0.13, pitch: 45 + r.IntN(12), loud: 0.15 + 0.3*r.Float64()})
			}
		}
	case 2:
		for k := range 2 + r.IntN(5) {
			p.sounds = append(p.sounds, sound{kind: "thump", at: at + 0.55*float64(k), length: 0.1, loud: 0.15 + 0.2*r.Float64()})
		}
	case 3:
		p.sounds = append(p.sounds, sound{kind: "bang", at: at, length: 0.3, loud: 0.3 + 0.6*r.Float64()})
	default:
		if p.level > Easy {
			p.sounds = append(p.sounds, sound{kind: "clap", at: at, length: 0.1, loud: 0.2 + 0.6*r.Float64()})
		}
	}
}

// bleed lets the guide's clicks leak into the microphone.
func (p *player) bleed(r *rand.Rand) {
	loud := 0.004 * math.Pow(10, 0.8*r.Float64())
	for b := range p.m.Beats() {
		s := sound{kind: "click", at: b.Seconds, length: 0.03, loud: loud}
		if b.Downbeat {
			s.loud *= 1.5
		}
		if b.Cue {
			s.kind = "high"
		}
		p.sounds = append(p.sounds, s)
	}
}
