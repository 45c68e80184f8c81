package assemble

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"
)

// snapshot is what is known of a production's takes at one moment, to be held
// against a later one.
type snapshot struct {
	roll   RollResult
	placed []Placed
}

// takeSnapshot calls the roll and places the takes.
func takeSnapshot(ctx context.Context, p *Production) (*snapshot, error) {
	roll, err := p.Rollcall(ctx)
	if err != nil {
		return nil, err
	}
	sync, err := p.Sync(ctx, SyncOptions{})
	if err != nil {
		return nil, err
	}
	roll.Faults = append(roll.Faults, unlike(sync.Faults, roll.Faults)...)
	return &snapshot{roll: roll, placed: sync.Takes}, nil
}

// moved is how far a recording must move to be worth a word, in seconds: less
// than a listener can hear between two players.
const moved = 0.002

// changes says in words what is different in now.
func (s *snapshot) changes(now *snapshot) []string {
	var out []string
	for _, t := range now.roll.Takes {
		i := slices.IndexFunc(s.roll.Takes, func(o RollTake) bool { return o.Name == t.Name })
		switch {
		case i < 0:
			out = append(out, fmt.Sprintf("%s is new: %s", t.Name, t.Status))
		case s.roll.Takes[i].Status != t.Status:
			out = append(out, fmt.Sprintf("%s was %s and is %s", t.Name, s.roll.Takes[i].Status, t.Status))
		case !slices.Equal(s.roll.Takes[i].Why, t.Why) && len(t.Why) == 0:
			out = append(out, t.Name+": nothing is wrong any more")
		}
		if i < 0 || !slices.Equal(s.roll.Takes[i].Why, t.Why) {
			if len(t.Why) > 0 {
				out = append(out, fmt.Sprintf("%s: %s", t.Name, strings.Join(t.Why, "; ")))
			}
		}
	}
	for _, t := range s.roll.Takes {
		if !slices.ContainsFunc(now.roll.Takes, func(o RollTake) bool { return o.Name == t.Name }) {
			out = append(out, t.Name+" is gone")
		}
	}
	return append(out, placements(s.placed, now.placed)...)
}

// placements says which recordings lie elsewhere than before.
func placements(before, now []Placed) []string {
	var out []string
	for _, p := range now {
		i := slices.IndexFunc(before, func(o Placed) bool { return o.Name == p.Name && o.Role == p.Role })
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
