package assemble

import (
	"context"

	"ripieno/assemble/remark/kept"
	"ripieno/assemble/roll"
)

// Rollcall says who is in, late, rejected and missing. When callsheet in the
// manifest says a day, a take that is not in is late from the day after, by the
// local calendar of Settings.Now.
func (p *Production) Rollcall(ctx context.Context) (RollResult, error) {
	check, err := p.Check(ctx)
	if err != nil {
		return RollResult{}, err
	}
	r := roll.Call(p.Manifest(), check, p.Manifest().CallSheet.DueDay, p.Now())
	r.Remarks, r.Approvals, err = kept.Said(p.Manifest(), p.Settings().Out)
	return r, err
}

// takeSnapshot calls the roll and places the takes.
func takeSnapshot(ctx context.Context, p *Production) (*roll.Snapshot, error) {
	called, err := p.Rollcall(ctx)
	if err != nil {
		return nil, err
	}
	sync, err := p.Sync(ctx, SyncOptions{})
	if err != nil {
		return nil, err
	}
	return roll.NewSnapshot(called, sync.Takes, sync.Faults), nil
}
