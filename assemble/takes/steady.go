package takes

import (
	"context"

	"ripieno/assemble/reading"
	"ripieno/assemble/task"
)

// steady runs read and vouches that the recording's file was the same meanwhile.
func (r *Recording) steady(ctx context.Context, steady reading.Steady, read func(ctx context.Context) error) error {
	if steady == nil {
		return read(ctx)
	}
	return steady(ctx, r.Path, r.Hash, read)
}

// steadyAll returns steady for the files of several recordings at once, which read
// reads together. There is an error for each.
func steadyAll(ctx context.Context, steady reading.Steady, members []task.Member, recs map[string]*Recording, read func(ctx context.Context)) []error {
	wrong := make([]error, len(members))
	var nested func(ctx context.Context, k int)
	nested = func(ctx context.Context, k int) {
		if k == len(members) {
			read(ctx)
			return
		}
		r, done := recs[members[k].ID], false
		wrong[k] = r.steady(ctx, steady, func(ctx context.Context) error {
			done = true
			nested(ctx, k+1)
			return nil
		})
		if !done { // the others are read all the same
			nested(ctx, k+1)
		}
	}
	nested(ctx, 0)
	return wrong
}
