package takes

import (
	"context"
	"errors"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/intake"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/framing"
	"ripieno/layout/motion"
)

// DetectSubjects finds where the player is in every take whose picture nobody
// framed, and in all where names keep off heads and hands, by what the check of takes
// measures. A picture that cannot be inspected keeps the middle; what is wrong with it
// shows elsewhere.
func (s *Set) DetectSubjects(ctx context.Context, x *session.Session) error {
	var edges []task.Edge
	named := x.Manifest().NamesAvoid()
	seen := map[*Recording]task.Ref[intake.Picture]{}
	for _, t := range s.Takes {
		if v := t.Video; v != nil && v.HasPicture() && (named || !t.IsFramed()) {
			seen[v] = seeTask(x.Tool(), x.Store().Steady, v)
			edges = append(edges, seen[v])
		}
	}
	if len(edges) == 0 {
		return nil
	}
	res, err := x.Run(ctx, task.Collect(edges...))
	if err != nil {
		return err
	}
	for r, see := range seen {
		look, ok, err := see.Result(res)
		if err != nil {
			return err
		}
		if ok {
			person := look.Person()
			r.Subject = &person
		}
		r.refuseSpent(see.Outcome(res).Err)
	}
	return nil
}

// refuseSpent refuses the file if it took so much of the processor to be looked at that
// it is not looked at any further. Without a look at its picture for another reason the
// middle is shown.
func (r *Recording) refuseSpent(err error) {
	if errors.Is(err, ffmpeg.ErrSpent) {
		r.Refuse(err)
	}
}

// Cropped returns who was found in the take's picture, and in words what its crop
// goes by. Without a person nobody was looked for, or found.
func (t Take) Cropped() (framing.Person, string) {
	switch {
	case t.Fit == layout.Fit:
		return framing.Person{}, "all of it, as fit says"
	case !t.AutoCrop:
		return framing.Person{}, "as crop says"
	case t.Video == nil || t.Video.Subject == nil || !t.Video.Subject.Known():
		return framing.Person{}, "the middle: nobody was found"
	case t.Video.Subject.Face:
		return *t.Video.Subject, "the head, by the face"
	case t.Video.Subject.Head.IsEmpty():
		return *t.Video.Subject, "what moves"
	}
	return *t.Video.Subject, "the head, by the shape of what moves"
}

// The type that is stored of a picture, with the number it has for ever.
var (
	_ = store.Number(7, formerPicture{})
	_ = store.Number(42, intake.Picture{})
)

// formerPicture holds the place that intake.Picture had before it knew faces, with as
// many types in it, so that the types behind it keep their bytes; see formerFeatures.
type formerPicture struct{ Subject motion.Subject }
