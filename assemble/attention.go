package assemble

import (
	"context"

	"ripieno/assemble/intake"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// lookForPlayers finds where the player is in every take that asks for
// crop: auto, by what the check of takes measures. A picture that cannot be
// looked at keeps the middle; what is wrong with it shows elsewhere.
func (p *Production) lookForPlayers(ctx context.Context, recs []*recording) error {
	var tasks []task.Task
	for _, r := range recs {
		if r.err == nil && r.info.Video != nil && r.role == roleVideo && p.Manifest().Takes[r.take].AutoCrop {
			tasks = append(tasks, p.seeTask(r))
		}
	}
	if len(tasks) == 0 {
		return nil
	}
	res, err := p.Run(ctx, tasks)
	if err != nil {
		return err
	}
	for _, r := range recs {
		path := res.Path(seeID(r))
		if path == "" {
			continue
		}
		look, err := r.looked(path)
		if err != nil {
			return err
		}
		r.subject = &look.Subject
	}
	return nil
}

// looked reads what was measured of a picture, which is upright as the file
// says, and turns it as the manifest does.
func (r *recording) looked(path string) (intake.Picture, error) {
	look, err := store.Load[intake.Picture](path)
	look.Subject = look.Subject.Turned(said(*r.info.Video, r.file).Rotation - r.info.Video.Rotation)
	return look, err
}
