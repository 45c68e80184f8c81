// Package direct proposes a shot list: whom a film should show when, from who plays and
// who has the melody. It knows nothing of tempo, sound or files, only measures.
//
// What it proposes is a beginning for a person, who knows the piece and the people:
//
//   - Shots change between phrases. A phrase is 2, 4 or 8 measures, whichever lasts at
//     least 6 seconds, and ends early where many begin or stop playing (common practice,
//     no source).
//   - The first phrase and the last show everybody.
//   - Where few play, they are seen: one alone, two side by side, a section when nobody
//     else plays.
//   - Where everybody plays and one has the melody ([Melody]), that one is large with the
//     others round. Where several could have it everybody is seen, and after two shots of
//     that sort, too.
//
// Measures count from 1. The same input gives the same list.
package direct

import (
	"fmt"
	"slices"

	"ripieno/layout/shot"
)

// Player is a take as a director sees it.
type Player struct {
	Take, Section string
	Voice         string // players of one voice play the same notes; "": a voice of their own
	Shown         bool   // there is a picture that may be shown
	Plays         []bool // by measure: whether it sounds
	Notes         []Note // in order of time, on the clock of the measures
}

// Shot is one that is proposed, over the measures From to To, To not included.
type Shot struct {
	From, To    int
	Show        shot.Kind
	Take, Other string // of solo and pair
	Section     string // of soli
	Why         string // in a few words
}

// featuresInARow is after how many shots of a soloist everybody is seen again.
const featuresInARow = 2

// Propose returns the shots of a piece whose measure i+1 begins at starts[i] seconds; the
// last entry is its end. There are none for a piece of less than two phrases.
func Propose(players []Player, starts []float64) []Shot {
	phrases := divide(players, starts)
	if len(phrases) < 2 {
		return nil
	}
	d := director{players: players, starts: starts}
	for _, x := range players {
		d.parts = append(d.parts, x.Notes)
	}
	var list []Shot
	for i, p := range phrases {
		s := Shot{From: p.from, To: p.to, Show: shot.Tutti, Why: "everybody"}
		if i > 0 && i < len(phrases)-1 {
			s = d.choose(p)
		}
		if d.features++; s.Show == shot.Tutti {
			d.features = 0
		}
		if n := len(list); n > 0 && sameShot(list[n-1], s) {
			list[n-1].To = s.To
			continue
		}
		list = append(list, s)
	}
	return list
}

// sameShot reports whether two shots show the same.
func sameShot(a, b Shot) bool {
	return a.Show == b.Show && a.Take == b.Take && a.Other == b.Other && a.Section == b.Section
}

// director is what is remembered from shot to shot.
type director struct {
	players  []Player
	parts    [][]Note // what each plays
	starts   []float64
	features int    // shots in a row that do not show everybody
	last     string // the take that was shown by itself last
}

// choose returns the shot of a phrase between the first and the last.
func (d *director) choose(p phrase) Shot {
	s := Shot{From: p.from, To: p.to, Show: shot.Tutti, Why: "everybody"}
	var playing []Player
	for _, x := range d.players {
		if x.plays(p) {
			playing = append(playing, x)
		}
	}
	seen := slices.DeleteFunc(slices.Clone(playing), func(x Player) bool { return !x.Shown })
	switch {
	case len(playing) == 0 || len(seen) < len(playing) && len(playing) <= 2:
	case len(playing) == 1:
		s.Show, s.Take, s.Why = shot.Solo, playing[0].Take, "plays alone"
	case len(playing) == 2 && len(d.players) > 2:
		s.Show, s.Take, s.Other, s.Why = shot.Pair, playing[0].Take, playing[1].Take, "nobody else plays"
	case d.sectionAlone(playing):
		s.Show, s.Section, s.Why = shot.Soli, playing[0].Section, "only this section plays"
	case d.features < featuresInARow:
		if lead := d.leader(p); lead != "" {
			s.Show, s.Take, s.Why = shot.Solo, lead, "has the melody"
		}
	}
	if s.Take != "" {
		d.last = s.Take
	}
	return s
}

// Around reports whether the others stay in view, small, round a soloist.
func (s Shot) Around() bool { return s.Show == shot.Solo && s.Why == "has the melody" }

// sectionAlone reports whether those who play are of one section and not everybody.
func (d *director) sectionAlone(playing []Player) bool {
	return playing[0].Section != "" && len(playing) < len(d.players) &&
		!slices.ContainsFunc(playing, func(x Player) bool { return x.Section != playing[0].Section }) &&
		slices.ContainsFunc(d.players, func(x Player) bool { return x.Section != playing[0].Section })
}

// leader returns who has the melody in a phrase; "" when that is nobody, or nobody can
// tell, or it is one who cannot be shown or was shown last.
func (d *director) leader(p phrase) string {
	i := Melody(d.parts, d.starts[p.from-1], d.starts[p.to-1])
	if i < 0 || !d.players[i].Shown || d.players[i].Take == d.last {
		return ""
	}
	return d.players[i].Take
}

// phrase is a run of measures, to not included.
type phrase struct{ from, to int }

const (
	phraseSeconds = 6   // at least
	changeShare   = 0.5 // of those who play before or behind: a new phrase
	changeSeconds = 4   // on both sides of it, at least
)

// divide returns the phrases of a piece.
func divide(players []Player, starts []float64) []phrase {
	n := len(starts) - 1
	if n < 2 {
		return nil
	}
	length := 2
	for length < 8 && float64(length)*(starts[n]-starts[0])/float64(n) < phraseSeconds {
		length *= 2
	}
	var list []phrase
	for from := 1; from <= n; from += length {
		p := phrase{from, min(from+length, n+1)}
		if k := len(list); k > 0 && (p.to-p.from)*2 < length { // the rest of the last
			list[k-1].to = p.to
			break
		}
		at, most := 0, changeShare
		for m := p.from + 1; m < p.to; m++ {
			share := changeAt(players, m)
			if share >= most && starts[m-1]-starts[p.from-1] >= changeSeconds &&
				starts[p.to-1]-starts[m-1] >= changeSeconds {
				at, most = m, share
			}
		}
		if at > 0 {
			list = append(list, phrase{p.from, at})
			p.from = at
		}
		list = append(list, p)
	}
	return list
}

// changeAt returns the share of those who play in measure m or the one before who do so
// in one of them only.
func changeAt(players []Player, m int) float64 {
	both, one := 0, 0
	for _, x := range players {
		switch before, now := x.in(m-1), x.in(m); {
		case before && now:
			both++
		case before || now:
			one++
		}
	}
	if both+one == 0 {
		return 0
	}
	return float64(one) / float64(both+one)
}

// in reports whether x plays in a measure.
func (x Player) in(m int) bool { return m >= 1 && m <= len(x.Plays) && x.Plays[m-1] }

// plays reports whether x plays in at least half of a phrase.
func (x Player) plays(p phrase) bool {
	n := 0
	for m := p.from; m < p.to; m++ {
		if x.in(m) {
			n++
		}
	}
	return 2*n >= p.to-p.from && n > 0
}

// String returns a shot as a person would say it.
func (s Shot) String() string {
	who := s.Section
	if s.Take != "" {
		who = s.Take
	}
	if s.Other != "" {
		who += ", " + s.Other
	}
	return fmt.Sprintf("m%d to m%d: %s %s (%s)", s.From, s.To, s.Show, who, s.Why)
}
