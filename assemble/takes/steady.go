package takes

import (
	"context"

	"ripieno/assemble/reading"
	"ripieno/assemble/task"
)

// steady runs read and vouches that the recording's file was the same meanwhile.
func (r *Recording) steady(ctx context.Context, steady reading.Steady, read func() error) error {
	if steady == nil {
		return read()
	}
	return steady(ctx, r.Path, r.Hash, read)
}

// steadyAll returns steady for the files of several recordings at once, which read
// reads together. There is an error for each.
func steadyAll(ctx context.Context, steady reading.Steady, members []task.Member, recs map[string]*Recording, read func()) []error {
	wrong := make([]error, len(members))
	var nested func(k int)
	nested = func(k int) {
		if k == len(members) {
			read()
			return
		}
		r, done := recs[members[k].ID], false
		wrong[k] = r.steady(ctx, steady, func() error {
			done = true
			nested(k + 1)
			return nil
		})
		if !done { // the others are read all the same
			nested(k + 1)
		}
	}
	nested(0)
	return wrong
}
