// Package roll says in words how a production stands: who is in, what is wrong with
// takes, what may be published, and what has changed since the last look.
package roll

import (
	"fmt"
	"time"

	"ripieno/assemble/intake"
	"ripieno/assemble/production"
	"ripieno/assemble/remark"
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

// Line is one line of the roll.
type Line struct {
	Name    string   `json:"name"`
	Player  string   `json:"player"`
	Part    string   `json:"part"`
	Section string   `json:"section,omitempty"`
	Email   string   `json:"email,omitempty"`
	Status  Status   `json:"status"`
	Release string   `json:"release"`       // yes, audio-only, no or missing
	Files   []string `json:"files"`         // as the manifest names them
	Why     []string `json:"why,omitempty"` // what is wrong with it, worst first
	Ask     []string `json:"ask,omitempty"` // what to ask the player for
}

// Counts is how many takes have each status.
type Counts struct {
	In       int `json:"in"`
	Rejected int `json:"rejected"`
	Missing  int `json:"missing"`
	Late     int `json:"late"`
	// Unreleased is how many of those in or rejected have no release written down.
	Unreleased int `json:"unreleased"`
}

// Roll is the roll, in the order of seats.
type Roll struct {
	Takes  []Line `json:"takes"`
	Counts Counts `json:"counts"`
	Due    string `json:"due,omitempty"` // 2031-06-12; absent when no day is known
	// Remarks are those on the film that are open, Approvals who found which film good.
	Remarks   []remark.At    `json:"remarks,omitempty"`
	Approvals []remark.Stand `json:"approvals,omitempty"`
	Faults    []takes.Fault  `json:"faults,omitempty"`
	// Astray are recordings among the outputs, where no take is looked for.
	Astray []string `json:"astray,omitempty"`
}

// Call calls the roll from what check found. A take is rejected when check would
// ask for it again. A take that is not in is late from the day after due, by the
// calendar of now; never when due is zero.
func Call(man *production.Production, check Check, due, now time.Time) Roll {
	r := Roll{Takes: []Line{}, Astray: check.Astray}
	late := false
	if !due.IsZero() {
		r.Due = due.Format(time.DateOnly)
		// Days are compared, not moments: what comes on the evening of the day is in time,
		// wherever the player lives.
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
		line := Line{Name: t.Name, Player: t.Player, Part: t.Part, Section: t.Section, Email: t.Email, Status: StatusIn,
			Release: t.Release.Word(), Files: []string{}}
		for _, f := range []*production.File{t.Video, t.Audio} {
			if f != nil {
				line.Files = append(line.Files, f.Path)
			}
		}
		switch {
		case c.Level == LevelMissing && late:
			line.Status = StatusLate
			b := takes.NotIn(t)
			b.What = fmt.Sprintf("take %q is late: it was due on %s", t.Name, r.Due)
			r.Faults = append(r.Faults, b)
			r.Counts.Late++
		case c.Level == LevelMissing:
			line.Status = StatusMissing
			r.Faults = append(r.Faults, takes.NotIn(t))
			r.Counts.Missing++
		case c.Level == intake.Redo.String():
			line.Status = StatusRejected
			// A file that cannot be read has its fault already, which says more.
			if !unreadable[t.Name] {
				r.Faults = append(r.Faults, rejection(t, c.Findings[0]))
			}
			r.Counts.Rejected++
		default:
			r.Counts.In++
		}
		// Nobody is asked to release what has not come.
		if c.Level != LevelMissing {
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
func (l *Line) note(findings []intake.Finding) {
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

// rejection says that a take cannot be used as it is.
func rejection(t production.Take, worst intake.Finding) takes.Fault {
	return takes.Fault{Take: t.Name, Kind: takes.KindRejected, What: fmt.Sprintf("take %q has to come again: %s",
		t.Name,
		worst.What), Hint: worst.Ask}
}
