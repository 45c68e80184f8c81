package takes

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/intake"
	"ripieno/assemble/production"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/framing"
	"ripieno/layout/motion"
)

// looked is how pictures are looked through for players.
type looked struct {
	seen map[*Recording]task.Ref[intake.Picture] // of those that are to be; nil: not planned
	res  *task.Result                            // nil: not run
}

// plan says whose pictures are looked through: those that nobody framed, and all where
// names keep off heads and hands; or of those that nobody framed the wanted ones. wanted
// may be nil.
func (l *looked) plan(s *Set, x *session.Session, wanted func(*Recording) bool) {
	l.seen = map[*Recording]task.Ref[intake.Picture]{}
	see := newSeeing(x.Tool(), x.Store().Steady)
	named := wanted == nil && x.Manifest().NamesAvoid()
	for _, t := range s.Takes {
		v := t.Video
		if v == nil || !v.HasPicture() || t.IsFramed() && !named || wanted != nil && !wanted(v) {
			continue
		}
		l.seen[v] = see.task(v)
	}
}

// Of the picture of a take whose shape is a tile's, nobody is cut away. usualShape is the
// one that a manifest which says none means, width to height.
const (
	usualShape = 16.0 / 9
	keptShare  = 0.7 // of a picture: more is cut of those that are looked through for a first look
)

// isCut reports whether a tile of the manifest's shape shows less than keptShare of r's
// picture.
func (r *Recording) isCut(p production.Picture) bool {
	shape := usualShape
	if p.AspectW > 0 {
		shape = float64(p.AspectW) / float64(p.AspectH)
	}
	video := withOverrides(*r.Info.Video, r.File)
	w, h := video.Display()
	is := float64(w) / float64(h)
	return min(is/shape, shape/is) < keptShare
}

// toRun returns the tasks that have not been run, in the order of the recordings' names.
func (l *looked) toRun() (edges []task.Edge) {
	if l.res != nil {
		return nil
	}
	for _, r := range slices.SortedFunc(maps.Keys(l.seen), func(a, b *Recording) int {
		return cmp.Compare(a.Name(), b.Name())
	}) {
		edges = append(edges, l.seen[r])
	}
	return edges
}

// LookOnlyAt says of whose pictures [Set.DetectSubjects] finds the player, by the names of
// takes: a rough cut does without the others. It changes nothing once that is planned.
func (s *Set) LookOnlyAt(x *session.Session, cut map[string]bool) {
	if s.looked.seen == nil {
		s.looked.plan(s, x, func(r *Recording) bool { return cut[r.Owner] })
	}
}

// DetectSubjects finds where the player is in every take whose picture nobody
// framed, and in all where names keep off heads and hands, by what the check of takes
// measures, unless [Locate] has done so. A picture that cannot be inspected keeps the
// middle; what is wrong with it shows elsewhere.
func (s *Set) DetectSubjects(ctx context.Context, x *session.Session) error {
	if s.looked.seen == nil {
		s.looked.plan(s, x, nil)
	}
	if edges := s.looked.toRun(); len(edges) > 0 {
		res, err := x.Run(ctx, task.Collect(edges...))
		if err != nil {
			return err
		}
		s.looked.res = &res
	}
	for r, see := range s.looked.seen {
		if !r.HasPicture() {
			continue // it was refused meanwhile
		}
		look, ok, err := see.Result(*s.looked.res)
		if err != nil {
			return err
		}
		if ok {
			person := look.Person()
			r.Subject = &person
		}
		r.refuseSpent(see.Outcome(*s.looked.res).Err)
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
