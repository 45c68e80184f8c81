package roll

import (
	"fmt"
	"math"
	"ripieno/assemble/takes"
	"slices"
	"strings"
)

// Snapshot is what is known of a production's takes at one moment, to be held
// against a later one.
type Snapshot struct {
	Roll   Roll
	Placed []takes.Placed
}

// NewSnapshot returns the roll and the places of takes, with the faults of both.
func NewSnapshot(r Roll, placed []takes.Placed, faults []takes.Fault) *Snapshot {
	r.Faults = append(r.Faults, Besides(faults, r.Faults)...)
	return &Snapshot{Roll: r, Placed: placed}
}

// Besides returns the faults of list about takes of which known says nothing.
func Besides(list, known []takes.Fault) []takes.Fault {
	var rest []takes.Fault
	for _, b := range list {
		if !slices.ContainsFunc(known, func(k takes.Fault) bool { return k.Take == b.Take }) {
			rest = append(rest, b)
		}
	}
	return rest
}

// moved is how far a recording must move to be worth a word, in seconds: less
// than a listener can hear between two players.
const moved = 0.002

// Changes says in words what is different in now.
func (s *Snapshot) Changes(now *Snapshot) []string {
	var out []string
	for _, t := range now.Roll.Takes {
		i := slices.IndexFunc(s.Roll.Takes, func(o Line) bool { return o.Name == t.Name })
		switch {
		case i < 0:
			out = append(out, fmt.Sprintf("%s is new: %s", t.Name, t.Status))
		case s.Roll.Takes[i].Status != t.Status:
			out = append(out, fmt.Sprintf("%s was %s and is %s", t.Name, s.Roll.Takes[i].Status, t.Status))
		case !slices.Equal(s.Roll.Takes[i].Why, t.Why) && len(t.Why) == 0:
			out = append(out, t.Name+": nothing is wrong any more")
		}
		if i < 0 || !slices.Equal(s.Roll.Takes[i].Why, t.Why) {
			if len(t.Why) > 0 {
				out = append(out, fmt.Sprintf("%s: %s", t.Name, strings.Join(t.Why, "; ")))
			}
		}
	}
	for _, t := range s.Roll.Takes {
		if !slices.ContainsFunc(now.Roll.Takes, func(o Line) bool { return o.Name == t.Name }) {
			out = append(out, t.Name+" is gone")
		}
	}
	return append(out, placements(s.Placed, now.Placed)...)
}

// placements says which recordings lie elsewhere than before.
func placements(before, now []takes.Placed) []string {
	var out []string
	for _, p := range now {
		i := slices.IndexFunc(before, func(o takes.Placed) bool { return o.Name == p.Name && o.Role == p.Role })
		if i >= 0 && before[i].Sure == p.Sure && (!p.Sure || math.Abs(before[i].Offset-p.Offset) < moved) {
			continue
		}
		where := fmt.Sprintf("placed at %+.3f s (confidence %.2f)", p.Offset, p.Confidence)
		if !p.Sure {
			where = "needs review: " + p.Question
		}
		out = append(out, fmt.Sprintf("%s (%s) %s", p.Name, p.Role, where))
	}
	return out
}
