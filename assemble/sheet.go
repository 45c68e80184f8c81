package assemble

import (
	"context"
	"image/png"

	"ripieno/assemble/media"
	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
)

// sheetLines is the short side of the stills on a storyboard.
const sheetLines = 360

// Sheet returns Grid with a storyboard of every deliverable: each shot as it looks
// in its middle, with real frames of the takes at their true times.
func (p *Production) Sheet(ctx context.Context) (GridResult, error) {
	for _, w := range plan.Wants(p.Manifest()) {
		if err := p.OutFiles("sheet-" + w.Name + ".png"); err != nil {
			return GridResult{}, err
		}
	}
	r, err := p.Grid(ctx)
	if err != nil {
		return r, err
	}
	all, err := p.locate(ctx)
	if err != nil {
		return r, err
	}
	wants := plan.Wants(p.Manifest())
	for i := range wants {
		wants[i].Canvas = wants[i].Canvas.Lines(sheetLines)
	}
	pl, faults, err := p.plan(all, wants)
	if err != nil {
		return r, err
	}
	r.Faults = faults
	draw := picture.New(p.Tool(), p.Store().Steady, pl, all.assets, nil)
	run := func(tasks []task.Task) (task.Result, error) { return p.Run(ctx, tasks) }
	for i, f := range pl.Films {
		out := &r
		if i > 0 {
			out = &r.Others[i-1]
		}
		if out.Sheet, err = p.OutFile("sheet-" + f.Name + ".png"); err != nil {
			return r, err
		}
		img, err := draw.Storyboard(f, run)
		if err != nil {
			return r, err
		}
		err = store.Publish(ctx, out.Sheet, func(tmp string) error {
			return media.WritePNG(tmp, img, png.DefaultCompression)
		})
		if err != nil {
			return r, err
		}
	}
	return r, nil
}
