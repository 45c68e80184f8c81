package picture

import (
	"context"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/shot"
)

// posterTask takes the poster frame out of a finished film.
func (m *Maker) posterTask(f plan.Film, film task.Ref[string]) task.Ref[string] {
	t := task.Task{
		ID: task.ID("poster", f.Name), Name: f.Name, Stage: "poster", Cost: costStill, Keep: true,
		Action: store.NewAction("poster").Version(graph.Rule).Arg("frame", f.Poster).Arg("rate", m.line.Rate),
	}
	t.Needs("film", film)
	t.Action = t.Action.Ext(".png").For(f.Name)
	t.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		path, err := film.Read(in)
		if err != nil {
			return err
		}
		return takeFrame(ctx, m.tool, path, f.Poster, m.line.Rate, tmp)
	}
	return task.Path(t)
}

// takeFrame writes one frame of a film as a picture.
func takeFrame(ctx context.Context, tool *ffmpeg.Tool, film string, frame int, rate shot.Rate, tmp string) error {
	cmd, err := graph.Frame("file:"+film, frame, rate, "file:"+tmp)
	if err != nil {
		return err
	}
	return tool.RunGraph(ctx, cmd, tmp, 0, nil)
}
