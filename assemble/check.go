package assemble

import (
	"context"

	"ripieno/assemble/arrival"
	"ripieno/assemble/roll"
	"ripieno/assemble/task"
)

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
	r := roll.NewCheck(judged, all.Set)
	r.Tasks, r.Astray = all.Count.Add(TaskCount(res.Stats)), arrival.Astray(p.Manifest(), p.Settings().Out)
	return r, nil
}
