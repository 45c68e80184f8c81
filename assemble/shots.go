package assemble

import (
	"context"
	"fmt"

	"ripieno/assemble/fault"
	"ripieno/assemble/manifest"
	"ripieno/assemble/plan"
	"ripieno/assemble/session"
	"ripieno/assemble/task"
	"ripieno/layout/direct"
	"ripieno/layout/shot"
)

// ShotLine is a shot of the film as a person reads it.
type ShotLine struct {
	From  string   `json:"from"`    // a measure, or start
	At    float64  `json:"at"`      // seconds of the film
	To    float64  `json:"to"`      // seconds of the film
	Show  string   `json:"show"`    // its kind
	Takes []string `json:"takes"`   // who is seen by themselves; of everybody's shot nobody is listed
	Text  string   `json:"text"`    // of a card
	Why   string   `json:"because"` // it is proposed; "" for one that is in the manifest
}

// ShotsResult is the shot list of a film.
type ShotsResult struct {
	Shots    []ShotLine `json:"shots"`
	Proposed bool       `json:"proposed"` // it was written into the manifest just now
	ByScore  int        `json:"by_score"` // takes of which the score says what they play
	Takes    int        `json:"takes"`    // all that were looked at
	Faults   []Bad      `json:"faults,omitempty"`
}

// Shots returns what the film shows when. It looks at the manifest alone.
func (p *Production) Shots(context.Context) (ShotsResult, error) {
	shots, line, err := plan.Shots(p.Manifest())
	if err != nil {
		return ShotsResult{}, err
	}
	r := ShotsResult{Takes: len(p.Manifest().Takes)}
	for _, s := range shots {
		l := ShotLine{At: line.Rate.Seconds(s.From), To: line.Rate.Seconds(s.To), Show: string(s.Show), Text: s.Text,
			From: "start"}
		// Half a frame later than it begins, so that a shot on a bar line is told by
		// its measure.
		switch at := p.Manifest().Tempo.Position(line.GuideAtZero() + l.At + 0.5/line.Rate.FPS()); {
		case s.Want >= 0:
			l.From = p.Manifest().Shots[s.Want].From.Text
		case s.From > 0:
			l.From = fmt.Sprintf("m%d.%d", at.Measure, int(at.Beat))
		}
		switch s.Show {
		case shot.Solo:
			l.Takes = s.Takes[:1]
		case shot.Soli, shot.Pair:
			l.Takes = s.Takes
		}
		r.Shots = append(r.Shots, l)
	}
	return r, nil
}

// ProposeShots finds out who plays and who has the melody, by the score where it has a
// take's part and else by what is heard, and writes a shot list into the manifest, for
// a person to change. A manifest that has one is a fault.
func (p *Production) ProposeShots(ctx context.Context) (ShotsResult, error) {
	man := p.Manifest()
	if len(man.Shots) > 0 { // before the work
		return ShotsResult{}, manifest.HasShots(man)
	}
	all, err := p.locate(ctx)
	if err != nil {
		return ShotsResult{}, err
	}
	res, err := p.Run(ctx, task.Collect(all.Listens(man)...))
	if err != nil {
		return ShotsResult{}, err
	}
	players, starts, byScore, err := all.Directed(man, res)
	if err != nil {
		return ShotsResult{}, err
	}
	list := direct.Propose(players, starts)
	if list == nil {
		return ShotsResult{}, fault.New(fault.Manifest, man.Path, "the piece is too short for a list of shots",
			"everybody is shown from beginning to end")
	}
	head := fmt.Sprintf("proposed by who plays; %d of %d takes by the score: change it as you like", byScore,
		len(players))
	r := ShotsResult{Proposed: true, ByScore: byScore, Takes: len(players)}
	for _, s := range list {
		l := ShotLine{From: fmt.Sprintf("m%d", s.From), At: starts[s.From-1] - starts[0] + man.Picture.LeadIn,
			To: starts[s.To-1] - starts[0] + man.Picture.LeadIn, Show: string(s.Show), Why: s.Why}
		for _, take := range []string{s.Take, s.Other} {
			if take != "" {
				l.Takes = append(l.Takes, take)
			}
		}
		if s.Section != "" {
			l.Takes = []string{s.Section}
		}
		r.Shots = append(r.Shots, l)
	}
	shots := writtenShots(list, man.Picture.LeadIn, man.Picture.Tail)
	return r, session.ChangeManifest(ctx, man, func(data []byte) ([]byte, error) {
		return manifest.WriteShots(data, man, head, shots)
	})
}

// leastCard is the shortest time in which a card is read, seconds of film.
const leastCard = 2

// writtenShots returns shots as the manifest writes them, between a card with the title and one
// with the credits where there is time before and after the music.
func writtenShots(list []direct.Shot, leadIn, tail float64) []manifest.Proposed {
	var out []manifest.Proposed
	if leadIn >= leastCard {
		out = append(out, manifest.Proposed{From: "start", Show: string(shot.Card), Text: plan.TextTitle})
	}
	for i, s := range list {
		x := manifest.Proposed{From: fmt.Sprintf("m%d", s.From), Show: string(s.Show), Section: s.Section, Take: s.Take,
			Other: s.Other, Around: s.Around(), Why: s.Why}
		switch {
		case i == 0 && len(out) == 0: // nothing is before it
		case i > 0 && (s.Around() || list[i-1].Around()):
			x.Transition = string(plan.Move)
		default:
			x.Transition = "dissolve"
		}
		out = append(out, x)
	}
	if tail >= leastCard {
		out = append(out, manifest.Proposed{From: fmt.Sprintf("m%d", list[len(list)-1].To), Show: string(shot.Card),
			Text: "credits", Transition: "dissolve"})
	}
	return out
}
