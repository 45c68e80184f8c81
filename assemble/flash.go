package assemble

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
func (p *Production) flashTask(f plan.Film, line plan.Timeline, segments []task.Task) task.Task {
	key := store.NewAction("flashes").Version(flashRule).Arg("rate", line.Rate)
	var after []string
	for _, s := range segments {
		key = key.Input("segment", s.Action.ID())
		after = append(after, s.ID)
	}
	return task.Task{
		ID: "flashes/" + f.Name, Name: f.Name, Stage: "flashes", Action: key.Ext(".gob").For(f.Name), After: after, Keep: true,
		Cost: costFlash * line.Duration(),
		Make: func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			c := flash.NewCounter(line.Rate.FPS())
			for i, s := range segments {
				if err := addCopies(ctx, c, filepath.Join(in[s.ID], copyFile), smallCopy(f.Canvas), f.Segments[i].Len()); err != nil {
					return err
				}
			}
			return store.Save(tmp, c.Result())
		},
	}
}

// addCopies shows a segment's small copies to a counter.
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
	if _, err := r.ReadByte(); err != io.EOF {
		return fmt.Errorf("there are more than %d small copies (%w)", frames, err)
	}
	return nil
}

// Flashes is the worst second of a film by the limits of ITU-R BT.1702 and
// WCAG 2.3.1, for flashes of light and of saturated red.
type Flashes struct {
	Worst int     `json:"worst_per_second"`
	At    float64 `json:"at"` // seconds of the film at which that second begins
	Red   int     `json:"red_worst_per_second"`
	RedAt float64 `json:"red_at"`
	// TooMany tells whether there are more than three of either.
	TooMany bool `json:"too_many"`
}

// flashes reads the count of a film and warns when the limit is exceeded.
func (p *Production) flashes(film string, t *task.Task, res task.Result) (*Flashes, error) {
	if t == nil || res.Path(t.ID) == "" {
		return nil, nil
	}
	r, err := store.Load[flash.Result](res.Path(t.ID))
	if err != nil {
		return nil, err
	}
	f := &Flashes{Worst: r.Flashes, At: r.At, Red: r.Red, RedAt: r.RedAt, TooMany: r.TooMany()}
	if f.TooMany {
		what := fmt.Sprintf("flashes %d times within a second at %.1f s", f.Worst, f.At)
		if f.Red > f.Worst {
			what = fmt.Sprintf("flashes red %d times within a second at %.1f s", f.Red, f.RedAt)
		}
		p.Message(fmt.Sprintf("%s %s; more than %d can harm people with photosensitive epilepsy (ITU-R BT.1702, WCAG 2.3.1): "+
			"look for a lamp that flickers or light that changes with every beat, or warn your audience", film, what, flash.MostPerSecond))
	}
	return f, nil
}
