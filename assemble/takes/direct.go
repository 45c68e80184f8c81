package takes

import (
	"math"
	"strings"

	"ripieno/assemble/production"
	"ripieno/assemble/task"
	"ripieno/layout/direct"
	"ripieno/mix/playing"
)

// Directed returns who plays and who has the melody, by measures, for takes in the order
// of the manifest: by the score where it has a take's part, else by what is heard of the
// take, from a run of what [Set.Listens] gives. byScore counts those of the score.
func (s *Set) Directed(man *production.Production, res task.Result) (players []direct.Player, starts []float64,
	byScore int, err error) {
	players, err = s.players(man, func(t Take) (*playing.Tones, error) {
		tones, _, err := t.Tones().Result(res)
		return tones, err
	})
	for _, t := range s.Takes {
		if !t.IsWithheld() && scorePart(man, t.Part) != nil {
			byScore++
		}
	}
	return players, MeasureStarts(man), byScore, err
}

// players returns who plays what, for takes in the order of the manifest; tones gives the steady
// tones of a take, nil where they were not followed.
func (s *Set) players(man *production.Production, tones func(Take) (*playing.Tones, error)) (players []direct.Player,
	err error) {
	starts := MeasureStarts(man)
	for _, t := range s.Takes {
		if t.IsWithheld() {
			continue
		}
		x := direct.Player{Take: t.Name, Section: t.Section, Voice: strings.ToLower(strings.TrimSpace(t.Part)),
			Plays: make([]bool, len(starts)-1),
			Shown: t.ShowsPicture() && (t.Expected || t.Video != nil && t.Video.HasPicture())}
		if x.Notes, err = t.notes(man, tones); err != nil {
			return nil, err
		}
		for m := range x.Plays {
			for _, n := range x.Notes {
				if n.At >= starts[m]-barSlack && n.At < starts[m+1]-barSlack {
					x.Plays[m] = true
				}
			}
		}
		players = append(players, x)
	}
	return players, nil
}

// Listens returns the tasks that Directed needs: of takes that are not in the score.
func (s *Set) Listens(man *production.Production) (edges []task.Edge) {
	for _, t := range s.Takes {
		if tones := t.Tones(); scorePart(man, t.Part) == nil && !t.IsWithheld() && !tones.IsZero() {
			edges = append(edges, tones)
		}
	}
	return edges
}

// mostHeard is how many takes there may be for their pitches to be followed when nothing but
// a sentence of the mix depends on it: that takes as long as mixing them.
const mostHeard = 24

// Roles returns the tasks that Directed needs where who has the melody is worth a sentence:
// none in large productions, of which it then knows what the score says.
func (s *Set) Roles(man *production.Production) []task.Edge {
	if len(man.Takes) > mostHeard {
		return nil
	}
	return s.Listens(man)
}

// barSlack is how much before a bar line a note may begin that belongs behind it, seconds.
const barSlack = 0.06

// MeasureStarts returns the guide time of the beginning of every measure of the piece and
// of its end.
func MeasureStarts(man *production.Production) (starts []float64) {
	last := 0
	for b := range man.Tempo.Beats() {
		if !b.CountIn && b.Measure > last {
			last = b.Measure
			starts = append(starts, b.Seconds)
		}
	}
	return append(starts, man.Tempo.End())
}

// notes returns what a take plays: as the score has it, else as it is heard. A take that is
// neither in the score nor placed has none.
func (t Take) notes(man *production.Production, tones func(Take) (*playing.Tones, error)) (notes []direct.Note,
	err error) {
	if scorePart(man, t.Part) != nil {
		for _, n := range expectPlaying(man, t.Take).Score {
			notes = append(notes, direct.Note{At: n.At, Pitch: float64(n.MIDI), Level: math.NaN()})
		}
		return notes, nil
	}
	if t.Heard == nil || !t.Heard.Usable() || t.Heard.Features == nil {
		return nil, nil
	}
	steady, err := tones(t)
	if err != nil || steady == nil {
		return nil, err
	}
	return heardNotes(t.Heard, steady), nil
}

// heardNotes returns the beginnings of notes in a recording, each with the pitch of the
// steady tone that sounds then. Pitch is a MIDI number with a fraction, NaN where no
// steady tone follows.
func heardNotes(r *Recording, tones *playing.Tones) (notes []direct.Note) {
	const (
		settles = 0.15 // seconds in which a note finds its pitch
		faint   = 30   // dB under the loudest: of another's sound in the headphones, or noise
	)
	clock, next := r.Place.Clock(), 0
	for _, e := range r.Features.Events {
		if e.Level < r.Features.LoudDB-faint {
			continue
		}
		for next < len(tones.Steady) && tones.Steady[next].To < e.Time {
			next++
		}
		pitch := math.NaN()
		if next < len(tones.Steady) && tones.Steady[next].From < e.Time+settles {
			pitch = tones.Steady[next].Note
		}
		notes = append(notes, direct.Note{At: clock.Guide(e.Heard), Pitch: pitch, Level: e.Level})
	}
	return notes
}
