package assemble

import (
	"context"
	"image/png"

	"ripieno/assemble/media"
	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
)

// Sheet returns Grid with a storyboard of every deliverable: each shot as it looks
// in its middle, with real frames of the takes at their true times. It looks
// and listens as Render does, so plan, drawings and storyboard are the film's.
func (p *Production) Sheet(ctx context.Context) (GridResult, error) {
	wants := plan.Wants(p.Manifest())
	for _, w := range wants {
		if err := p.OutFiles("sheet-"+w.Name+".png", "crops-"+w.Name+".png"); err != nil {
			return GridResult{}, err
		}
	}
	all, err := p.locate(ctx)
	if err != nil {
		return GridResult{}, err
	}
	pl, faults, err := p.plan(ctx, all, wants)
	if err != nil {
		return GridResult{}, err
	}
	draw := picture.New(p.Tool(), p.Store().Steady, pl, all.assets, nil)
	r, err := drawPlans(ctx, p, pl, draw)
	r.Faults = faults
	if err != nil {
		return r, err
	}
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
		if out.Crops, err = p.drawCrops(ctx, draw, f, all.Set, run); err != nil {
			return r, err
		}
	}
	return r, nil
}

// drawCrops writes what a film shows of every take's picture and returns the
// file.
func (p *Production) drawCrops(ctx context.Context, draw *picture.Maker, f plan.Film, set *takes.Set,
	run func([]task.Task) (task.Result, error)) (string, error) {
	file, err := p.OutFile("crops-" + f.Name + ".png")
	if err != nil {
		return "", err
	}
	cropped := map[string]picture.Cropped{}
	for _, t := range set.Takes {
		person, note := t.Cropped()
		cropped[t.Name] = picture.Cropped{Person: person, Note: note}
	}
	img, err := draw.Crops(f, cropped, run)
	if err != nil {
		return "", err
	}
	return file, store.Publish(ctx, file, func(tmp string) error {
		return media.WritePNG(tmp, img, png.DefaultCompression)
	})
}
