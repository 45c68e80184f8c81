package roll

import (
	"ripieno/assemble/guide"
	"ripieno/assemble/intake"
	"ripieno/assemble/session"
	"ripieno/assemble/takes"
)

// LevelMissing is the level of a take that is not in yet.
const LevelMissing = "missing"

// Checked is what `check` says of one take.
type Checked struct {
	Name     string           `json:"name"`
	Player   string           `json:"player"`
	Level    string           `json:"level"` // ok, ask or redo; missing for a take not in yet
	Findings []intake.Finding `json:"findings"`
}

// Check is what `check` says of all takes.
type Check struct {
	Takes []Checked     `json:"takes"`
	Tasks session.Count `json:"tasks"` // what was measured, and what was known
	// Guides are those that were made otherwise than the manifest says now.
	Guides []guide.Change `json:"guides_changed,omitempty"`
	Faults []takes.Fault  `json:"faults,omitempty"`
	// Astray are recordings among the outputs, where no take is looked for.
	Astray []string `json:"astray,omitempty"`
}

// NewCheck returns what `check` says of takes that have been judged.
func NewCheck(judged []takes.Judged, set *takes.Set) Check {
	r := Check{Takes: []Checked{}, Guides: set.Guides}
	for i, j := range judged {
		t := set.Takes[i]
		c := Checked{Name: t.Name, Player: t.Player, Level: intake.Worst(j.Findings).String(), Findings: j.Findings}
		if j.Facts.Expected {
			c.Level = LevelMissing
			r.Faults = append(r.Faults, takes.NotIn(*t.Take))
		}
		if c.Findings == nil {
			c.Findings = []intake.Finding{}
		}
		r.Takes = append(r.Takes, c)
	}
	r.Faults = append(r.Faults, set.Unreadable()...)
	return r
}
