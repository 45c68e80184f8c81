package picture

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/flash"
)

const (
	flashRule = 3     // version of how flashes are counted
	costFlash = 0.005 // seconds of one core for each second
)

// flashTask counts the flashes of a finished film, which may harm people who
// watch it, in the small copies that its segments were made with: a film whose
// sound alone changed is not looked at again.
func flashTask(f plan.Film, line plan.Timeline, segments []task.Ref[string]) task.Ref[flash.Result] {
	t := task.Task{
		ID: task.ID("flashes", f.Name), Name: f.Name, Stage: "flashes", Keep: true, Cost: costFlash * line.Duration(),
		Action: store.NewAction("flashes").Version(flashRule).Arg("rate", line.Rate),
	}
	for _, s := range segments {
		t.Needs("segment", s)
	}
	t.Action = t.Action.Ext(".gob").For(f.Name)
	t.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		folders, err := task.ReadAll(segments, in)
		if err != nil {
			return err
		}
		return countFlashes(ctx, f, line, folders, tmp)
	}
	return task.Value[flash.Result](t)
}

// countFlashes stores what is counted in the small copies of the segments in
// folders.
func countFlashes(ctx context.Context, f plan.Film, line plan.Timeline, folders []string, tmp string) error {
	c := flash.NewCounter(line.Rate.FPS())
	for i, folder := range folders {
		if err := addCopies(ctx, c, filepath.Join(folder, copyFile), smallCopy(f.Canvas),
			f.Segments[i].Len()); err != nil {
			return err
		}
	}
	return store.Save(tmp, c.Result())
}

// The type that is stored of flashes, with the number it has for ever.
var _ = store.Number(9, flash.Result{})

// addCopies shows a segment's small copies to a counter. A file of another length
// than its segment says is an error: flashes counted in half a film would pass for
// all of them. Pixels are RGB, 3 bytes each.
func addCopies(ctx context.Context, c *flash.Counter, path string, l graph.Copy, frames int) error {
	f, err := os.Open(path)
	if err != nil {
		return err
	}
	defer f.Close()
	r := bufio.NewReader(f)
	pix := make([]byte, 3*l.W*l.H)
	for k := range frames {
		if err := ctx.Err(); err != nil {
			return err
		}
		if _, err := io.ReadFull(r, pix); err != nil {
			return fmt.Errorf("frame %d of %d small copies: %w", k, frames, err)
		}
		if err := c.Add(pix); err != nil {
			return err
		}
	}
	switch _, err := r.ReadByte(); err {
	case io.EOF:
		return nil
	case nil:
		return fmt.Errorf("there are more than %d small copies", frames)
	default:
		return err
	}
}
