package takes

import (
	"context"
	"path/filepath"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/intake"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/reading"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/face"
	"ripieno/layout/motion"
)

// Pictures are looked at several at once up to a length from which the beginnings of
// processes are nothing beside their work, and by so many, whose frames lie on the disk
// meanwhile: 30 MB for two minutes.
const (
	glanceSeconds  = 240
	mostOfGlancing = 8
)

// seeing plans looks at the pictures of recordings, of which some are made together.
type seeing struct {
	tool   *ffmpeg.Tool
	steady reading.Steady
	recs   map[string]*Recording // of those made together, by the IDs of their tasks
	batch  *task.Batch
}

// newSeeing returns one that has planned nothing.
func newSeeing(tool *ffmpeg.Tool, steady reading.Steady) *seeing {
	s := &seeing{tool: tool, steady: steady, recs: map[string]*Recording{}}
	s.batch = &task.Batch{Most: mostOfGlancing, Make: s.all}
	return s
}

// task measures a recording's picture, upright as the manifest says. Its key names
// each rule that it depends on, ffmpeg and what is bounded, but neither the player
// nor the file's name. A small file is looked at by itself, since what is spent on it
// is counted.
func (s *seeing) task(r *Recording) task.Ref[intake.Picture] {
	action := store.NewAction("see").Version(intake.Rule).Arg("media", media.Rule).Arg("faces", face.Version).
		Arg("moves", motion.HeatVersion).Arg("ffmpeg", s.tool.Version.Text)
	work := fileWork{Info: r.Info, Turn: r.turn()}
	if work.Turn != 0 {
		action = action.Arg("turn", work.Turn)
	}
	if b := intake.BoundsOf(r.Info); b != (intake.Bounds{}) {
		action = action.Arg("bounds", b)
	}
	t := task.Task{
		Errand: work.errand(RuleSee, r),
		ID:     task.ID("see", r.Name()), Name: r.File.Path, Stage: "see", Cost: costSee * r.Info.Duration, Keep: true,
		Memory: reading.Memory(plan.Conform{Picture: plan.Picture{W: r.Info.Video.W, H: r.Info.Video.H}}),
		Action: action.Input("file", r.Hash).Ext(".gob").For(r.File.Path),
		Make: func(ctx context.Context, _ task.Inputs, tmp string, _ func(float64)) error {
			return r.steady(ctx, s.steady, func(ctx context.Context) error { return work.see(ctx, s.tool, tmp) })
		},
	}
	if r.Info.Duration <= glanceSeconds && !r.Info.IsSmall() {
		t.Batch, s.recs[t.ID] = s.batch, r
	}
	return task.Value[intake.Picture](t)
}

// turn returns by how many degrees clockwise the manifest turns the picture besides what
// its file says.
func (r *Recording) turn() int {
	return withOverrides(*r.Info.Video, r.File).Rotation - r.Info.Video.Rotation
}

// all looks at the pictures of several recordings.
func (s *seeing) all(ctx context.Context, members []task.Member) []error {
	list := make([]intake.Looked, len(members))
	for i, m := range members {
		r := s.recs[m.ID]
		list[i] = intake.Looked{Info: r.Info, Turn: r.turn()}
	}
	var seen []intake.Picture
	var wrong []error
	changed := steadyAll(ctx, s.steady, members, s.recs, func(ctx context.Context) {
		seen, wrong = intake.LookAll(ctx, s.tool, filepath.Dir(members[0].Tmp), list)
	})
	for i, m := range members {
		if changed[i] != nil {
			wrong[i] = changed[i]
		}
		if wrong[i] == nil {
			wrong[i] = store.Save(m.Tmp, seen[i])
		}
	}
	return wrong
}

// seePicture stores what is seen in a file's picture, turned by so many degrees.
func seePicture(ctx context.Context, tool *ffmpeg.Tool, info media.Info, turn int, tmp string) error {
	seen, err := intake.Look(ctx, tool, info, turn)
	if err != nil {
		return err
	}
	return store.Save(tmp, seen)
}
