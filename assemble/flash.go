package assemble

import (
	"context"
	"fmt"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/flash"
)

const (
	flashRule  = 2    // version of how flashes are counted
	flashWidth = 64   // pixels: the limits speak of a quarter of the picture
	costFlash  = 0.02 // seconds of one core for each second and million pixels
)

// flashTask counts the flashes of a finished film, which may harm people who
// watch it.
func (p *Production) flashTask(f plan.Film, line plan.Timeline, film task.Task) task.Task {
	key := store.NewAction("flashes").Version(flashRule).Arg("width", flashWidth).Input("film", film.Action.ID()).Ext(".gob").For(f.Name)
	return task.Task{
		ID: "flashes/" + f.Name, Name: f.Name, Stage: "flashes", Action: key, After: []string{film.ID}, Keep: true,
		Cost: costFlash * line.Duration() * mega(f.Canvas.W, f.Canvas.H),
		Make: func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			info, err := media.Probe(ctx, p.tool, in[film.ID])
			if err != nil {
				return err
			}
			c := flash.NewCounter(line.Rate.FPS())
			s := media.Sampling{Width: flashWidth, Whole: true}
			if err := media.SampleRGB(ctx, p.tool, info, s, func(f media.RGB) error { return c.Add(f.Pix) }); err != nil {
				return err
			}
			return save(tmp, c.Result())
		},
	}
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
	r, err := load[flash.Result](res.Path(t.ID))
	if err != nil {
		return nil, err
	}
	f := &Flashes{Worst: r.Flashes, At: r.At, Red: r.Red, RedAt: r.RedAt, TooMany: r.TooMany()}
	if f.TooMany {
		what := fmt.Sprintf("flashes %d times within a second at %.1f s", f.Worst, f.At)
		if f.Red > f.Worst {
			what = fmt.Sprintf("flashes red %d times within a second at %.1f s", f.Red, f.RedAt)
		}
		p.set.Report.Message(fmt.Sprintf("%s %s; more than %d can harm people with photosensitive epilepsy (ITU-R BT.1702, WCAG 2.3.1): "+
			"look for a lamp that flickers or light that changes with every beat, or warn your audience", film, what, flash.MostPerSecond))
	}
	return f, nil
}
