package assemble

import (
	"context"
	"time"

	"ripieno/assemble/desk"
	"ripieno/assemble/desk/audition"
	"ripieno/assemble/progress"
	"ripieno/assemble/takes"
)

// DeskOptions set up Desk.
type DeskOptions struct {
	Listen string               // where the page is served; "" is any port of this computer
	Tick   <-chan time.Time     // tells when to see whether the manifest was changed by hand
	Ready  func(address string) // is told the address that lets one browser in
}

// Desk serves a page by which a person hears, sees and decides, until the context
// ends. Whatever is decided is written into the manifest. The production is only
// taken while something is made of it, so other runs are not kept out.
func Desk(ctx context.Context, set Settings, o DeskOptions) error {
	return desk.Serve(ctx, desk.Options{Dir: set.Dir, Listen: o.Listen, Tick: o.Tick, Ready: o.Ready,
		Work: deskWork{set}})
}

// deskWork does what the desk asks for, each in a session of its own.
type deskWork struct{ set Settings }

// with opens the production for one piece of work.
func (d deskWork) with(ctx context.Context, report progress.Reporter, work func(p *Production) error) error {
	set := d.set
	set.Report = report
	p, err := Open(ctx, set)
	if err != nil {
		return err
	}
	defer p.Close()
	return work(p)
}

// Place implements [desk.Work].
func (d deskWork) Place(ctx context.Context, report progress.Reporter) (placing *audition.Placing, err error) {
	err = d.with(ctx, report, func(p *Production) error {
		set, err := takes.Locate(ctx, p.Session)
		if err != nil {
			return err
		}
		_, faults := set.Facts(nil)
		placing, err = audition.Place(ctx, p.Session, set, faults)
		return err
	})
	return placing, err
}

// Strip implements [desk.Work].
func (d deskWork) Strip(ctx context.Context, placing *audition.Placing, take string, at float64) (jpeg []byte,
	err error) {
	err = d.with(ctx, progress.New(nil, progress.Quiet), func(p *Production) error {
		jpeg, err = placing.Strip(ctx, p.Session, take, at)
		return err
	})
	return jpeg, err
}

// Mix implements [desk.Work].
func (d deskWork) Mix(ctx context.Context, report progress.Reporter) (mixing *audition.Mixing, err error) {
	err = d.with(ctx, report, func(p *Production) error {
		all, err := p.locate(ctx)
		if err != nil {
			return err
		}
		pl, faults, err := p.plan(ctx, all, nil)
		if err != nil {
			return err
		}
		track, err := p.track(pl, all)
		if err != nil {
			return err
		}
		why := map[string]string{}
		for _, f := range faults {
			why[f.Take] = f.What
		}
		mixing, err = audition.Mix(ctx, p.Session, pl, track, why)
		return err
	})
	return mixing, err
}

// Measure implements [desk.Work].
func (d deskWork) Measure(ctx context.Context, report progress.Reporter) (m desk.Measured, err error) {
	err = d.with(ctx, report, func(p *Production) error {
		r, err := p.Mix(ctx, MixOptions{})
		m = desk.Measured{Loudness: r.Loudness, TruePeak: r.TruePeak, Gain: r.Master.Gain}
		return err
	})
	return m, err
}

// Look implements [desk.Work].
func (d deskWork) Look(ctx context.Context, report progress.Reporter) (looking *audition.Looking, err error) {
	err = d.with(ctx, report, func(p *Production) error {
		pl, set, err := planSeats(ctx, p, audition.Canvases)
		if err != nil {
			return err
		}
		looking, err = audition.Look(ctx, p.Session, set.Set, pl)
		return err
	})
	return looking, err
}
