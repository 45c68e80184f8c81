package assemble

import (
	"context"

	"ripieno/assemble/intake"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
)

// levelMissing is the level of a take that is not in yet.
const levelMissing = "missing"

// CheckedTake is what `check` says of one take.
type CheckedTake struct {
	Name     string           `json:"name"`
	Player   string           `json:"player"`
	Level    string           `json:"level"` // ok, ask or redo; missing for a take not in yet
	Findings []intake.Finding `json:"findings"`
}

// CheckResult is the roll of takes.
type CheckResult struct {
	Takes []CheckedTake `json:"takes"`
	Tasks TaskCount     `json:"tasks"` // what was measured, and what was known
	// Guides are those that were made otherwise than the manifest says now.
	Guides []GuideChange `json:"guides_changed,omitempty"`
	Faults []Bad         `json:"faults,omitempty"`
}

// Check looks at and listens to every take and says what is wrong with it.
func (p *Production) Check(ctx context.Context) (CheckResult, error) {
	all, err := p.locate(ctx)
	if err != nil {
		return CheckResult{}, err
	}
	checks := all.Checks(p.Tool(), p.Store().Steady, p.Manifest())
	res, err := p.Run(ctx, task.Collect(checks.Edges()...))
	if err != nil {
		return CheckResult{}, err
	}
	judged, err := checks.Judge(ctx, res)
	if err != nil {
		return CheckResult{}, err
	}
	r := checkResult(judged, all.Set)
	r.Tasks = all.Count.Add(TaskCount(res.Stats))
	return r, nil
}

// checkResult says what was found out.
func checkResult(judged []takes.Judged, set *takes.Set) CheckResult {
	r := CheckResult{Takes: []CheckedTake{}, Guides: set.Guides}
	for i, j := range judged {
		t := set.Takes[i]
		c := CheckedTake{Name: t.Name, Player: t.Player, Level: intake.Worst(j.Findings).String(), Findings: j.Findings}
		if j.Facts.Expected {
			c.Level = levelMissing
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
