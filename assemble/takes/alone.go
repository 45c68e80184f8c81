package takes

import (
	"context"

	"ripieno/assemble/plan"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
)

// LocateAlone looks at a video that is no take's, such as the film of who conducts, and
// places it on guide time by itself, as [Locate] places all takes together. owner is what
// tasks and errors call it, and no name of a take. Nothing is written but what the store
// keeps. It fails when the file cannot be used, with a fault that names it as the manifest
// does; where it could not be placed, Place of the result is not sure.
func LocateAlone(ctx context.Context, s *session.Session, owner string, file *production.File) (*Recording, error) {
	r := &Recording{Owner: owner, Role: Video, File: file}
	set := &Set{Takes: []Take{{Take: &production.Take{Name: owner, Video: file}, Video: r}}}
	if err := set.Takes[0].inspect(ctx, s, r); err != nil {
		return nil, r.withManifestPath(err)
	}
	// A set of one: what places takes needs no others.
	set.listenTasks(s.Tool(), s.Store().Steady)
	if err := set.place(ctx, s); err != nil {
		return nil, err
	}
	if r.Err != nil {
		return nil, r.Err
	}
	return r, set.RequireColour(s.Tool())
}

// Clip describes the picture of a recording that [LocateAlone] placed, on guide time.
func (r *Recording) Clip() plan.Picture {
	return *r.Picture(r.pictureClock(r.Place.Clock()))
}
