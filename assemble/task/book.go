package task

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"ripieno/assemble/store"
)

// take books how a task ended: gives back its memory, keeps its outcome, and lets what waited
// for it go on, or gives that up.
func (x *execution) take(e ending) {
	t := &x.g.tasks[e.task]
	if !e.away {
		x.memory -= max(0, t.Memory)
	}
	o := &x.out[e.task]
	o.Seconds, o.Away = e.seconds, e.elsewhere
	var differs *store.Difference
	blocks := false
	switch {
	case e.cancelled:
		o.State, o.Path, e.err = Cancelled, "", nil
	case errors.As(e.err, &differs):
		o.State, o.Path, o.Err = Failed, e.path, e.err // what is stored still serves the others
	case e.err != nil:
		o.State, o.Path, o.Err, blocks = Failed, "", e.err, true
	case e.made:
		o.State, o.Path = Made, e.path
	default: // another task with the same key made it
		o.State, o.Path = Reused, e.path
	}
	x.work[e.task].Finish(e.err)
	if store.IsNoSpace(e.err) || store.IsLost(e.err) {
		x.stopped = e.err
	}
	if e.cancelled {
		return
	}
	x.letGo(e.task)
	for _, j := range x.g.before[e.task] {
		if !x.looked[j].runs || x.out[j].State == Skipped {
			continue
		}
		if blocks {
			x.skip(j, fmt.Errorf("%s %s failed", t.stage(), t.name()))
		} else if x.waitsFor[j]--; x.waitsFor[j] == 0 {
			x.push(j)
		}
	}
}

// letGo gives back to the store what passes through the run, task i was the last to read,
// and no other task has under the same key. What failed or was skipped may be asked for
// by the next run, so outputs that such a task reads stay.
func (x *execution) letGo(i int) {
	for _, j := range x.g.after[i] {
		t := &x.g.tasks[j]
		if !t.Passing || x.out[j].Path == "" || x.keys[t.Action.ID()] > 1 {
			continue
		}
		waits := slices.ContainsFunc(x.g.before[j], func(k int) bool {
			return x.looked[k].runs && x.out[k].State != Made && x.out[k].State != Reused
		})
		if !waits {
			x.Store.Release(t.Action.ID())
		}
	}
}

// skip marks a task and all behind it that would have run.
func (x *execution) skip(i int, why error) {
	if x.out[i].State == Skipped {
		return
	}
	x.out[i].State, x.out[i].Path, x.out[i].Err = Skipped, "", why
	x.work[i].Finish(nil)
	for _, j := range x.g.before[i] {
		if x.looked[j].runs {
			x.skip(j, why)
		}
	}
}

// result closes the books. It returns an error when a task failed that nobody may do without,
// or when ctx ended before everything was made.
func (x *execution) result(ctx context.Context) (Result, error) {
	res := Result{Outcomes: x.out, byID: x.g.byID}
	var failed Failures
	cancelled := false
	for i := range x.out {
		o := &x.out[i]
		if o.State == Cancelled && x.stopped != nil {
			o.State, o.Err = Skipped, x.stopped
		}
		switch o.State {
		case Made:
			res.Stats.Run++
			if o.Away {
				res.Stats.Away++
			}
		case Reused, Unneeded:
			res.Stats.Reused++
		case Failed:
			t := &x.g.tasks[i]
			failed = append(failed, Failure{t.ID, t.name(), t.stage(), o.Err})
		case Cancelled:
			cancelled = true
		}
	}
	if err := ctx.Err(); err != nil && (cancelled || len(failed) > 0) {
		return res, err
	}
	if len(failed) > 0 {
		return res, failed
	}
	return res, nil
}
