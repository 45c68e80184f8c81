package simulate

import (
	"math"
	"math/rand/v2"

	"ripieno/mix/tempo"
)

// note is one note of a part, as written.
type note struct {
	at, length float64 // guide seconds
	pitch      int     // MIDI note
	loud       float64 // 0..1
}

// score holds what the parts share: the phrases, their rhythms and where all
// are silent.
type score struct {
	m       *tempo.Map
	style   string
	phrase  int        // measures in a phrase
	rhythms [][]rhythm // per phrase, one figure per measure
	tonic   int        // pitch class
	harmony [][2]int   // per measure and half of it, root over the tonic
	general []bool     // per phrase: everybody plays
}

// rhythm is where in a measure notes begin: beats from 0.
type rhythm []float64

// newScore makes up a piece: five rhythmic figures for phrases of four measures, one key, and
// a chord for every measure or half of it.
func newScore(r *rand.Rand, m *tempo.Map, o Options) *score {
	s := &score{m: m, phrase: 4, style: "mixed"}
	steady := 0.08
	if r.Float64() < steady {
		s.style = "steady"
	}
	beats := m.Meter(1).Beats()
	motifs := make([]rhythm, 5)
	for i := range motifs {
		motifs[i] = figure(r, beats, (m.End()-m.Start())/float64(beats*m.Measures()))
	}
	for p := 0; p*s.phrase < m.Measures(); p++ {
		var ph []rhythm
		for range s.phrase {
			ph = append(ph, motifs[r.IntN(len(motifs))])
		}
		s.rhythms = append(s.rhythms, ph)
		s.general = append(s.general, r.Float64() < 0.4)
	}
	s.tonic = r.IntN(12)
	root, quick := 0, beats == 4 && r.Float64() < 0.7
	next := func() int {
		root = follows[root][r.IntN(len(follows[root]))]
		return root
	}
	for range m.Measures() + 2 {
		chords := [2]int{root, root}
		if quick {
			chords[1] = next()
		}
		s.harmony = append(s.harmony, chords)
		next()
	}
	return s
}

// follows are the roots that may follow a root, in semitones over the tonic: the
// common progressions of tonal music.
var follows = map[int][]int{
	0:  {5, 7, 7, -3, 2, 5},
	5:  {7, 7, 0, 2},
	7:  {0, 0, 0, -3},
	-3: {2, 5, 7},
	2:  {7, 7, 0},
}

// compound reports whether the beats of the piece fall into three parts.
func (s *score) compound() bool { return s.m.Meter(1).Unit().Num == 3 }

// even bends a beat's halves and quarters to its thirds in compound meters.
func (s *score) even(b float64) float64 {
	if !s.compound() {
		return b
	}
	whole, part := math.Modf(b)
	switch {
	case part == 0:
		return whole
	case part <= 0.5:
		return whole + 1.0/3
	}
	return whole + 2.0/3
}

// figure draws a measure's rhythm: the longer its beats, in seconds, the more of
// them are divided.
func figure(r *rand.Rand, beats int, length float64) rhythm {
	var f rhythm
	whole := math.Max(0.25, math.Min(0.55, 0.95-0.5*length))
	for b := 0.0; b < float64(beats)-0.01; {
		f = append(f, b)
		switch x := r.Float64(); {
		case x < whole:
			b++
		case x < 0.78:
			f = append(f, b+0.5)
			b++
		case x < 0.9 && b+2 <= float64(beats):
			b += 2
		case x < 0.96:
			f = append(f, b+0.75)
			b++
		default:
			f = append(f, b+0.25, b+0.5, b+0.75)
			b++
		}
	}
	return f
}

// role is what a part does in the texture.
type role int

const (
	melody role = iota
	bass
	inner
	long
	sparse
	pulse
)

// newRole draws what a part of an instrument does: what is struck rests more.
func newRole(r *rand.Rand, in instrument) role {
	x := r.Float64()
	if !in.held() {
		x -= 0.1
	}
	switch {
	case x < 0.08:
		return sparse
	case x < 0.32:
		return bass
	case x < 0.4:
		return inner
	case x < 0.58 && in.name != "drum":
		return long
	}
	return melody
}

// part writes a part for role with pitches round centre.
func (s *score) part(r *rand.Rand, is role, centre int, o Options) []note {
	if s.style == "steady" && is != long && is != sparse {
		is = pulse
	}
	rest := 0.05
	if is == sparse {
		rest = 0.25
	}
	// Some enter late, a fifth of the piece at most.
	enter := 0
	if o.Level > Easy && r.Float64() < 0.35 {
		enter = int(0.2 * r.Float64() * float64(s.m.Measures()))
	}
	division := []float64{1, 0.5}[r.IntN(2)]
	var out []note
	pitch := centre
	for p := range s.rhythms {
		silent := r.Float64() < rest && !(s.general[p] && is != sparse)
		loud := 0.35 + 0.6*r.Float64()
		for i, f := range s.rhythms[p] {
			measure := p*s.phrase + i + 1
			if silent || measure <= enter || measure > s.m.Measures() {
				continue
			}
			beats := float64(s.m.Meter(measure).Beats())
			last := -1.0
			where := begins(r, is, f, beats, division)
			if measure == s.m.Measures() && is != sparse {
				where = []float64{0} // all end together
			}
			for _, b := range where {
				if b = s.even(b); b == last {
					continue
				}
				last = b
				half := 0
				if b >= beats/2 {
					half = 1
				}
				pitch = s.step(r, is, pitch, centre, s.harmony[measure][half], b == math.Trunc(b))
				accent := 0.0
				if b == 0 {
					accent = 0.1
				}
				out = append(out, note{at: s.seconds(measure, b), pitch: pitch, loud: loud*(0.8+0.3*r.Float64()) +
					accent})
			}
		}
	}
	s.lengths(r, out, is)
	return out
}

// begins returns the beats of a measure, from 0, at which a part begins notes, by its role:
// a melody leaves out one note in sixteen of the figure f, an inner part plays after the
// beats, a pulse plays every division.
func begins(r *rand.Rand, is role, f rhythm, beats, division float64) []float64 {
	var out []float64
	switch is {
	case melody:
		for _, b := range f {
			if r.Float64() > 0.06 {
				out = append(out, b)
			}
		}
	case bass:
		for b := 0.0; b < beats; b += math.Max(1, math.Floor(beats/2)) {
			out = append(out, b)
		}
		if r.Float64() < 0.3 {
			out = append(out, beats-0.5)
		}
	case inner:
		for b := 0.0; b < beats; b++ {
			if r.Float64() < 0.85 {
				out = append(out, b+0.5)
			}
		}
		if r.Float64() < 0.5 {
			out = append([]float64{0}, out...)
		}
	case long:
		out = append(out, 0)
		if r.Float64() < 0.6 {
			out = append(out, math.Ceil(beats/2))
		}
	case sparse:
		if r.Float64() < 0.75 {
			out = append(out, 0)
		}
		if r.Float64() < 0.45 {
			out = append(out, beats-1)
		}
	case pulse:
		for b := 0.0; b < beats-0.01; b += division {
			out = append(out, b)
		}
	}
	return out
}

// step moves a pitch by a few semitones near centre: on a beat mostly to a note
// of the chord on root, the bass to the root itself, between the beats as often
// to any of the scale. All parts are in the same key.
func (s *score) step(r *rand.Rand, is role, pitch, centre, root int, onBeat bool) int {
	next := pitch + []int{-2, -1, 1, 2, 2, -2, 3, -3, 4}[r.IntN(9)]
	if r.Float64() < 0.3 {
		next = centre + []int{0, 4, 7, -5}[r.IntN(4)]
	}
	if next > centre+12 || next < centre-12 {
		next = centre
	}
	third := 4
	if root == 2 || root == -3 {
		third = 3 // the chords on the second and sixth degree are minor
	}
	classes := []int{0, 2, 4, 5, 7, 9, 11}
	switch x := r.Float64(); {
	case is == bass && x < 0.7:
		classes = []int{root}
	case onBeat && x < 0.9, x < 0.5:
		classes = []int{root, root + third, root + 7}
	}
	return nearestOf(next-s.tonic, classes) + s.tonic
}

// nearestOf returns the pitch nearest to one that belongs to the pitch classes given.
func nearestOf(pitch int, classes []int) int {
	for d := range 12 {
		for _, c := range classes {
			if (pitch+d-c)%12 == 0 {
				return pitch + d
			}
			if (pitch-d-c)%12 == 0 {
				return pitch - d
			}
		}
	}
	return pitch
}

// seconds returns the guide time of a beat, from 0, of a measure.
func (s *score) seconds(measure int, beat float64) float64 {
	t, err := s.m.Seconds(tempo.Position{Measure: measure, Beat: 1 + beat})
	if err != nil {
		return s.m.End() // a figure longer than a short last measure
	}
	return t
}

// lengths gives every note its duration from the one that follows.
func (s *score) lengths(r *rand.Rand, notes []note, is role) {
	hold := 0.6 + 0.38*r.Float64()
	for i := range notes {
		gap := 2.5
		if i+1 < len(notes) {
			gap = notes[i+1].at - notes[i].at
		}
		gap = math.Min(gap, s.m.End()-notes[i].at)
		notes[i].length = math.Max(0.06, math.Min(gap, 2.5)*hold)
		if is == pulse {
			notes[i].length = math.Min(notes[i].length, 0.35)
		} else if i == len(notes)-1 && is != sparse {
			notes[i].length = 0.93 * (s.m.End() - notes[i].at) // all hold the last one
		}
	}
}
