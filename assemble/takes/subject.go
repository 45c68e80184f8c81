package takes

import (
	"context"

	"ripieno/assemble/intake"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// DetectSubjects finds where the player is in every take that asks for
// crop: auto, by what the check of takes measures. A picture that cannot be
// looked at keeps the middle; what is wrong with it shows elsewhere.
func (s *Set) DetectSubjects(ctx context.Context, x *session.Session) error {
	var edges []task.Edge
	seen := map[*Recording]task.Ref[intake.Picture]{}
	for _, t := range s.Takes {
		if v := t.Video; v != nil && v.HasPicture() && t.AutoCrop {
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
			look = r.upright(look)
			r.Subject = &look.Subject
		}
	}
	return nil
}

// upright turns what was measured of a picture, which is upright as the file
// says, as the manifest does.
func (r *Recording) upright(look intake.Picture) intake.Picture {
	look.Subject = look.Subject.Turned(withOverrides(*r.Info.Video, r.File).Rotation - r.Info.Video.Rotation)
	return look
}

// The type that is stored of a picture, with the number it has for ever.
var _ = store.Number(7, intake.Picture{})
