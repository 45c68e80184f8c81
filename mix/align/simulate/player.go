package simulate

import (
	"fmt"
	"math"
	"math/rand/v2"

	"ripieno/mix/robust"
	"ripieno/mix/tempo"
)

// sound is something that happens at a guide time.
type sound struct {
	kind   string  // note, clap, snap, thump, bang, speech, rustle
	at     float64 // a note is to be heard then, everything else begins
	length float64
	pitch  int
	loud   float64 // of a note 0..1; of everything else dB over the music's peak
	slur   bool    // goes on from the note before without a new attack
	tied   bool    // the next note is slurred to this one
	as     instrument
	begin  float64 // of a note
	needs  float64 // seconds after its beginning at which a note is heard
}

// player is a person with an instrument; the sounds are the same for all of
// their devices.
type player struct {
	name      string
	m         *tempo.Map
	inst      instrument
	ear       float64 // share of their peak at which their notes are heard
	registers [registers]register
	sounds    []sound
	notes     []Note
	late      float64
	wrote     []float64 // guide seconds at which the part's notes are written
	cue       float64   // guide time of the cue sound; NaN none
	cued      string
	clap      float64 // dB of its cue over the music's peak
	level     Level
	beat      float64
	leak      float64 // dB of the guide's clicks over the music's peak; NaN none
	room      room
	early     float64 // the least seconds before the guide at which its files must begin
}

// newPlayer makes up player i of ensemble number. What was added later to a player draws from
// a random source of its own (rng by name): so the ensembles of earlier versions keep their
// notes, and figures counted on them can be compared.
func newPlayer(r *rand.Rand, number uint64, i int, m *tempo.Map, s *score, o Options) *player {
	p := &player{
		name: fmt.Sprintf("p%02d", i+1), m: m, level: o.Level,
		inst: newInstrument(r), cue: math.NaN(), cued: "none", ear: newEar(rng(number, "ear", i)),
	}
	if seat := rng(number, "seat", i); seat.Float64() < o.Bows {
		p.inst = newBow(seat)
	}
	p.inst.attack *= 0.7 + 0.6*r.Float64()
	p.inst.swell *= 0.7 + 0.6*r.Float64()
	p.inst.release *= 0.7 + 0.6*r.Float64()
	p.registers = newRegisters(rng(number, "registers", i), p.inst)
	for b := range m.Beats() {
		if b.Cue {
			p.beat = b.Length
		}
	}
	part := s.part(r, newRole(r, p.inst), p.inst.centre, o)
	if float64(len(part)) < o.Seconds/leastApart {
		part = s.part(r, melody, p.inst.centre, o)
	}
	p.play(r, part)
	p.slurs(rng(number, "slurs", i))
	p.giveCue(r)
	p.surround(rng(number, "surround", i))
	p.leak = newLeak(rng(number, "leak", i), o)
	p.room = newRoom(rng(number, "room", i), o.Level)
	if o.RT60 > 0 {
		p.room.rt60 = o.RT60
	}
	p.give(rng(number, "voices", i))
	return p
}

// leastApart is how far apart the notes of a part are at most, in seconds of the piece: who has next
// to nothing to play sends in no take. Sampled parts have 15 notes in 40 s at least.
const leastApart = 3.0

// slurs marks notes that are played in one bow or breath with the one before.
func (p *player) slurs(r *rand.Rand) {
	if !p.inst.held() {
		return // struck and plucked notes have an attack each
	}
	share := 0.5 * r.Float64()
	for i := 1; i < len(p.sounds); i++ {
		a, b := &p.sounds[i-1], &p.sounds[i]
		if b.at-a.at < 1 && a.pitch != b.pitch && r.Float64() < share {
			a.tied, b.slur = true, true
			b.loud = a.loud * (0.85 + 0.3*r.Float64())
			a.length = b.at - a.at
		}
	}
}

// play turns written notes into played ones: a steady lateness, one that
// wanders slowly and one of each note's own.
func (p *player) play(r *rand.Rand, notes []note) {
	human := [...]float64{0.6, 1, 1}[p.level]
	bias := 0.015 * human * r.NormFloat64()
	jitter := (0.006 + 0.012*r.Float64()) * human
	wander, slow := 0.0, 0.01*r.Float64()*human
	for _, n := range notes {
		p.wrote = append(p.wrote, n.at)
		wander = 0.95*wander + slow*0.3*r.NormFloat64()
		d := bias + wander + jitter*r.NormFloat64()
		p.sounds = append(p.sounds, sound{kind: "note", at: n.at + d, length: n.length, pitch: n.pitch, loud: n.loud})
		p.notes = append(p.notes, Note{Written: n.at, Meant: n.at + d, MIDI: n.pitch})
	}
}

// give makes every note sound a little unlike the others, and finds when each
// is heard: the player begins as early as their instrument needs mostly.
func (p *player) give(r *rand.Rand) {
	ahead := p.needs(r)
	for i := range p.sounds {
		s := &p.sounds[i]
		if s.kind != "note" {
			continue
		}
		s.as = p.inst.short(s.length)
		if s.at != p.cue { // the truth of that one is told
			s.as = p.inst.in(p.registers, s.pitch).vary(r, *s)
		}
		if s.slur {
			s.as.attack, s.as.first, s.as.breath = math.Min(s.as.attack, 0.02+0.02*r.Float64()), 0.9, 0
		}
		s.needs = s.as.heard(s.length, p.ear)
		s.begin = s.at - ahead
		if s.slur || s.at == p.cue {
			s.begin = s.at - s.needs // a slurred note has no attack to begin early for
		}
		if i < len(p.notes) {
			n := &p.notes[i]
			n.Played = s.begin + s.needs
			p.late += (n.Meant - n.Written) / float64(len(p.notes))
		}
	}
}

// middle returns the median of v, the upper one of two; 0 of none.
func middle(v []float64) float64 {
	if len(v) == 0 {
		return 0
	}
	return robust.Quantile(v, 0.5)
}

// giveCue claps, snaps or plays at the cue, as well as a person can: people tap
// a little ahead of a click (Aschersleben, 2002: some 10 to 50 ms, less when
// they know it).
func (p *player) giveCue(r *rand.Rand) {
	miss := [...]float64{0, 0.04, 0.04}[p.level]
	human := [...]float64{0.6, 1, 1}[p.level]
	if r.Float64() < miss {
		return
	}
	at := p.m.Cue() + human*math.Max(-0.06, math.Min(0.06, -0.008+0.015*r.NormFloat64()))
	p.cued = "clap"
	switch x := r.Float64(); {
	case p.level > Easy && x < 0.05:
		p.cued = "note"
	case p.level > Easy && x < 0.15:
		p.cued = "snap"
	}
	if p.level == Hard && r.Float64() < 0.01 {
		// The player claps on the wrong beat and nowhere else.
		at += p.beat * float64([]int{-2, -1, 1, 2, 4}[r.IntN(5)])
		p.cued = "false"
	}
	p.cue = at
	p.clap = [...]float64{3, -2, -2}[p.level] + [...]float64{5, 10, 8}[p.level]*r.Float64()
	if p.level == Hard && r.Float64() < 0.07 {
		p.clap = -8
	}
	p.sounds = append(p.sounds, p.cueSound(at))
}

// cueSound returns the player's cue at a guide time.
func (p *player) cueSound(at float64) sound {
	switch p.cued {
	case "note":
		return sound{kind: "note", at: at, length: 0.16, pitch: p.inst.centre, loud: 1}
	case "false":
		return sound{kind: "clap", at: at, loud: p.clap}
	}
	return sound{kind: p.cued, at: at, loud: p.clap}
}
