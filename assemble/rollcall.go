package assemble

import (
	"context"
	"fmt"
	"time"

	"ripieno/assemble/intake"
	"ripieno/assemble/production"
	"ripieno/assemble/takes"
)

// Status is where a take stands in the roll.
type Status string

// The statuses.
const (
	StatusIn       Status = "in"       // there and usable, though it may be worth a question
	StatusRejected Status = "rejected" // there, but it has to be recorded or sent again
	StatusMissing  Status = "missing"  // not in yet
	StatusLate     Status = "late"     // not in, and the day it was due has passed
)

// RollTake is one line of the roll.
type RollTake struct {
	Name    string   `json:"name"`
	Player  string   `json:"player"`
	Part    string   `json:"part"`
	Section string   `json:"section,omitempty"`
	Status  Status   `json:"status"`
	Release string   `json:"release"`       // yes, audio-only, no or missing
	Files   []string `json:"files"`         // as the manifest names them
	Why     []string `json:"why,omitempty"` // what is wrong with it, worst first
	Ask     []string `json:"ask,omitempty"` // what to ask the player for
}

// RollCounts is how many takes have each status.
type RollCounts struct {
	In       int `json:"in"`
	Rejected int `json:"rejected"`
	Missing  int `json:"missing"`
	Late     int `json:"late"`
	// Unreleased is how many of those in or rejected have no release written down.
	Unreleased int `json:"unreleased"`
}

// RollResult is the roll, in the order of seats.
type RollResult struct {
	Takes  []RollTake `json:"takes"`
	Counts RollCounts `json:"counts"`
	Due    string     `json:"due,omitempty"` // 2031-06-12; absent when no day is known
	Faults []Bad      `json:"faults,omitempty"`
}

// Rollcall says who is in, late, rejected and missing. A take is rejected when
// check would ask for it again. When callsheet in the manifest says a day, a take
// that is not in is late from the day after, by the local calendar of Settings.Now.
func (p *Production) Rollcall(ctx context.Context) (RollResult, error) {
	check, err := p.Check(ctx)
	if err != nil {
		return RollResult{}, err
	}
	return roll(p.Manifest(), check, p.Manifest().CallSheet.DueDay, p.Now()), nil
}

// roll calls the roll from what check found.
func roll(man *production.Production, check CheckResult, due, now time.Time) RollResult {
	r := RollResult{Takes: []RollTake{}}
	late := false
	if !due.IsZero() {
		r.Due = due.Format(time.DateOnly)
		late = now.Format(time.DateOnly) > r.Due
	}
	unreadable := map[string]bool{}
	for _, b := range check.Faults {
		if b.Kind == takes.KindUnreadable {
			unreadable[b.Take] = true
			r.Faults = append(r.Faults, b)
		}
	}
	for i, c := range check.Takes {
		t := man.Takes[i]
		line := RollTake{Name: t.Name, Player: t.Player, Part: t.Part, Section: t.Section, Status: StatusIn,
			Release: t.Release.Word(), Files: []string{}}
		for _, f := range []*production.File{t.Video, t.Audio} {
			if f != nil {
				line.Files = append(line.Files, f.Path)
			}
		}
		switch {
		case c.Level == levelMissing && late:
			line.Status = StatusLate
			b := takes.NotIn(t)
			b.What = fmt.Sprintf("take %q is late: it was due on %s", t.Name, r.Due)
			r.Faults = append(r.Faults, b)
			r.Counts.Late++
		case c.Level == levelMissing:
			line.Status = StatusMissing
			r.Faults = append(r.Faults, takes.NotIn(t))
			r.Counts.Missing++
		case c.Level == intake.Redo.String():
			line.Status = StatusRejected
			if !unreadable[t.Name] {
				r.Faults = append(r.Faults, rejected(t, c.Findings[0]))
			}
			r.Counts.Rejected++
		default:
			r.Counts.In++
		}
		if c.Level != levelMissing {
			if t.Release == production.ReleaseMissing {
				r.Counts.Unreleased++
			}
			line.note(c.Findings)
		}
		r.Takes = append(r.Takes, line)
	}
	return r
}

// note takes over what is worth knowing; findings come worst first.
func (l *RollTake) note(findings []intake.Finding) {
	for _, f := range findings {
		if f.Level == intake.OK {
			continue
		}
		l.Why = append(l.Why, f.What)
		if f.Ask != "" {
			l.Ask = append(l.Ask, f.Ask)
		}
	}
}

// rejected says that a take cannot be used as it is.
func rejected(t production.Take, worst intake.Finding) Bad {
	return Bad{Take: t.Name, Kind: takes.KindRejected, What: fmt.Sprintf("take %q has to come again: %s", t.Name,
		worst.What), Hint: worst.Ask}
}
