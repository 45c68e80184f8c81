package assemble

import (
	"context"
	"image/png"
	"os"

	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/takes"
	"ripieno/layout/card"
)

// Grid plans the picture of every deliverable and draws each plan for a person
// to read. It looks at the files but does not listen to them: a take counts as
// seen from start to end.
// What a finished film lacks has no tile.
func (p *Production) Grid(ctx context.Context) (GridResult, error) { return planGrid(ctx, p, false) }

// SeatPlan is Grid with the seats of those who are still to come, as rough cuts
// have them.
func (p *Production) SeatPlan(ctx context.Context) (GridResult, error) { return planGrid(ctx, p, true) }

// planGrid is Grid, or SeatPlan when seats are kept.
func planGrid(ctx context.Context, p *Production, seats bool) (GridResult, error) {
	wants := plan.Wants(p.Manifest())
	for i := range wants {
		wants[i].KeepSeats = seats
		if err := p.OutFiles("grid-"+wants[i].Name+".png", "grid-"+wants[i].Name+".svg"); err != nil {
			return GridResult{}, err
		}
	}
	pl, set, err := planSeats(ctx, p, wants)
	if err != nil {
		return GridResult{}, err
	}
	r, err := drawPlans(ctx, p, pl, picture.New(p.Tool(), p.Store().Steady, pl, set.assets, nil))
	_, r.Faults = set.Facts(nil)
	return r, err
}

// planSeats plans films without listening to anything: a take counts as seen from
// start to end. The desk draws by it while somebody waits, and a take whose place is
// not known yet must have its tile.
func planSeats(ctx context.Context, p *Production, wants []plan.Want) (*plan.Plan, material, error) {
	set, err := takes.Inspect(ctx, p.Session)
	if err != nil {
		return nil, material{}, err
	}
	if err := set.DetectSubjects(ctx, p.Session); err != nil {
		return nil, material{}, err
	}
	assets, err := readAssets(ctx, p)
	if err != nil {
		return nil, material{}, err
	}
	if err := groundOnEnsemble(ctx, p, set, assets); err != nil {
		return nil, material{}, err
	}
	for _, rec := range set.Recordings() {
		rec.Place.Sure = true
	}
	facts, _ := set.Facts(nil)
	for _, f := range facts {
		if f.Picture != nil {
			// Eleven days either way: longer than any film.
			f.Picture.First, f.Picture.Last = -1e6, 1e6
		}
	}
	pl, err := plan.New(p.Manifest(), facts, wants, assets.Look)
	return pl, material{set, assets}, err
}

// drawPlans draws the plan of every film, as pixels and as a drawing that can be
// scaled. The result is that of the first film, with the others in it.
func drawPlans(ctx context.Context, p *Production, pl *plan.Plan, draw *picture.Maker) (GridResult, error) {
	var results []GridResult
	var err error
	for _, f := range pl.Films {
		r := gridResult(f, pl.Timeline)
		if r.PNG, err = p.OutFile("grid-" + f.Name + ".png"); err != nil {
			return GridResult{}, err
		}
		img, err := card.PlanPicture(draw.PlanDrawing(f))
		if err != nil {
			return GridResult{}, err
		}
		err = store.Publish(ctx, r.PNG, func(tmp string) error {
			return media.WritePNG(tmp, img, png.DefaultCompression)
		})
		if err != nil {
			return GridResult{}, err
		}
		if r.SVG, err = p.OutFile("grid-" + f.Name + ".svg"); err != nil {
			return GridResult{}, err
		}
		svg, err := card.PlanSVG(draw.PlanDrawing(f))
		if err != nil {
			return GridResult{}, err
		}
		err = store.Publish(ctx, r.SVG, func(tmp string) error { return os.WriteFile(tmp, svg, 0o666) })
		if err != nil {
			return GridResult{}, err
		}
		results = append(results, r)
	}
	first := results[0]
	first.Others = results[1:]
	return first, nil
}

// PinSeats writes where every take sits into the manifest, so that a line for
// one more player, anywhere in it, moves as few as possible. It tells how many
// takes had no seat written. No film changes by it. Seats that are written already
// are not written again.
func (p *Production) PinSeats(ctx context.Context) (int, error) {
	if err := p.Manifest().NeedTakes(); err != nil {
		return 0, err
	}
	places := plan.Places(p.Manifest())
	n := 0
	for _, t := range p.Manifest().Takes {
		if t.Seat == 0 {
			n++
		}
	}
	return n, session.ChangeManifest(ctx, p.Manifest(), func(data []byte) ([]byte, error) {
		return manifest.PinSeats(data, p.Manifest(), places, len(p.Manifest().Takes))
	})
}

// gridResult returns the plan of a film as grid prints it, still without its
// drawings.
func gridResult(f plan.Film, line plan.Timeline) GridResult {
	return GridResult{
		Name: f.Name, Canvas: GridCanvas{W: f.Canvas.W, H: f.Canvas.H}, FPS: line.Rate.FPS(),
		GuideAtZero: line.GuideAtZero(), Duration: line.Duration(), Shots: picture.ShotResults(f, line),
	}
}
