package assemble

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"ripieno/assemble/demo"
	"ripieno/mix/audio"
)

// demoSeed draws the demo's lots. Any number would do; it is fixed so that the
// README's pictures are everybody's.
const demoSeed = 7

// Demo makes the demo production in set.Dir, as far as it is not there yet,
// and runs the whole job on it: check, sync, grid, rough cut and film. The truth
// about the takes stays outside of what the verbs see.
func Demo(ctx context.Context, set Settings) (DemoResult, error) {
	r := DemoResult{Dir: filepath.Clean(set.Dir)}
	tool, err := set.Find(ctx)
	if err != nil {
		return r, err
	}
	work := set.Report.Add("record", "the demo's takes", 60)
	work.Start()
	truth, err := demo.Make(ctx, tool, r.Dir, demo.Options{Seed: demoSeed, Workers: set.Workers},
		func(done, total float64, _ string) {
			work.Advance(done / total)
		})
	work.Finish(err)
	if err != nil {
		return r, err
	}
	set.Programs.Found = tool
	p, err := Open(ctx, set)
	if err != nil {
		return r, err
	}
	defer p.Close()
	err = demonstrate(ctx, p, truth, &r)
	return r, errors.Join(err, p.WriteProfile(context.WithoutCancel(ctx)))
}

// demonstrate runs the verbs in the order in which a person would.
func demonstrate(ctx context.Context, p *Production, truth demo.Truth, r *DemoResult) error {
	say := func(format string, args ...any) { p.Message(fmt.Sprintf(format, args...)) }
	check, err := p.Check(ctx)
	if err != nil {
		return err
	}
	for _, t := range check.Takes {
		for _, f := range t.Findings {
			say("check: %s: %s", t.Name, f.What)
		}
	}
	found, err := p.Sync(ctx, SyncOptions{})
	if err != nil {
		return err
	}
	var measured []demo.Measured
	for _, f := range found.Takes {
		if f.Sure {
			measured = append(measured, demo.Measured{Take: f.Name, Role: f.Role,
				Clock: audio.Clock{Offset: f.Offset, Drift: audio.PPM(f.DriftPPM)}})
		}
	}
	tempo := p.Manifest().Tempo
	r.Truth, r.MedianMS, r.WorstMS = truth.Compare(measured, (tempo.Start()+tempo.End())/2)
	say("sync: %d recordings placed, median %.1f ms from the truth", len(r.Truth), r.MedianMS)
	grid, err := p.Grid(ctx)
	if err != nil {
		return err
	}
	r.Grid = grid.PNG
	say("grid: drawn in %s", grid.PNG)
	if r.Rough, err = p.Render(ctx, RenderOptions{Rough: true}); err != nil {
		return err
	}
	say("rough: %s", r.Rough.Output)
	r.Final, err = p.Render(ctx, RenderOptions{})
	return err
}
