package assemble

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"

	"ripieno/assemble/demo"
	"ripieno/assemble/manifest"
	"ripieno/mix/audio"
)

// demoSeed draws the demo's lots. Any number would do; it is fixed so that the
// README's pictures are everybody's.
const demoSeed = 7

// Demo makes the demo production in set.Dir, as far as it is not there yet,
// and runs the whole job on it: check, sync, grid, rough cut and film.
func Demo(ctx context.Context, set Settings) (DemoResult, error) {
	r := DemoResult{Dir: filepath.Clean(set.Dir)}
	tool, err := set.Find(ctx)
	if err != nil {
		return r, err
	}
	work := set.Report.Add("record", "the demo's takes", 60)
	work.Start()
	truth, err := demo.Make(ctx, tool, r.Dir, demo.Options{Seed: demoSeed, Workers: set.Workers}, func(done, total float64, _ string) {
		work.Advance(done / total)
	})
	work.Finish(err)
	if err != nil {
		return r, err
	}
	p, err := Open(ctx, set)
	if err != nil {
		return r, err
	}
	defer p.Close()
	return r, p.demonstrate(ctx, truth, &r)
}

// demonstrate runs the verbs in the order in which a person would.
func (p *Production) demonstrate(ctx context.Context, truth demo.Truth, r *DemoResult) error {
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
	found, err := p.Sync(ctx, false)
	if err != nil {
		return err
	}
	r.compare(found, truth, p.Manifest())
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

// compare holds what sync measured against the truth, in the middle of the
// piece. Sync puts a player's mean playing on the beat, so the truth for a
// player who is always late is not where the clock of the file was but where
// the playing belongs.
func (r *DemoResult) compare(found SyncResult, truth demo.Truth, man *manifest.Production) {
	middle := (man.Tempo.Start() + man.Tempo.End()) / 2
	var all []float64
	for _, f := range found.Takes {
		t, ok := truth.File(f.Name, f.Role)
		player, known := truth.Player(f.Name)
		if !ok || !known || !f.Sure {
			continue
		}
		file := t.Clock().File(middle)
		guide := audio.Clock{Offset: f.Offset, Drift: audio.PPM(f.DriftPPM)}.Guide(file)
		row := TruthRow{
			Take: f.Name, Role: f.Role, ClapErrorMS: player.ClapErrorMS, BiasMS: player.BiasMS,
			ErrorMS: (guide-middle)*1000 + player.BiasMS, DriftErrorPPM: f.DriftPPM - t.DriftPPM,
		}
		r.Truth = append(r.Truth, row)
		all = append(all, math.Abs(row.ErrorMS))
	}
	if len(all) > 0 {
		slices.Sort(all)
		r.MedianMS, r.WorstMS = all[len(all)/2], all[len(all)-1]
	}
}
