package assemble

import (
	"context"

	"ripieno/assemble/desk"
	"ripieno/assemble/desk/audition"
	"ripieno/assemble/progress"
	"ripieno/assemble/remark/handout"
	"ripieno/assemble/roll"
	"ripieno/assemble/takes"
)

// DeskWork returns what the desk has the program do. The production is only taken while
// something is made of it, so other runs are not kept out.
func DeskWork(set Settings) desk.Work { return deskWork{set} }

// deskWork does what the desk asks for, each in a session of its own.
type deskWork struct{ set Settings }

// within opens the production for one piece of work.
func within[T any](ctx context.Context, d deskWork, report progress.Reporter,
	work func(p *Production) (T, error)) (out T, err error) {
	set := d.set
	set.Report = report
	p, err := Open(ctx, set)
	if err != nil {
		return out, err
	}
	defer p.Close()
	return work(p)
}

// Place implements [desk.Work].
func (d deskWork) Place(ctx context.Context, report progress.Reporter) (*audition.Placing, error) {
	return within(ctx, d, report, func(p *Production) (*audition.Placing, error) {
		set, err := takes.Locate(ctx, p.Session)
		if err != nil {
			return nil, err
		}
		_, faults := set.Facts(nil)
		return audition.Place(ctx, p.Session, set, faults)
	})
}

// Strip implements [desk.Work].
func (d deskWork) Strip(ctx context.Context, placing *audition.Placing, take string, at float64) ([]byte, error) {
	return within(ctx, d, progress.New(nil, progress.Quiet), func(p *Production) ([]byte, error) {
		return placing.Strip(ctx, p.Session, take, at)
	})
}

// Mix implements [desk.Work].
func (d deskWork) Mix(ctx context.Context, report progress.Reporter) (*audition.Mixing, error) {
	return within(ctx, d, report, func(p *Production) (*audition.Mixing, error) {
		all, err := p.locate(ctx)
		if err != nil {
			return nil, err
		}
		pl, faults, err := p.plan(ctx, all, nil)
		if err != nil {
			return nil, err
		}
		track, err := p.track(pl, all)
		if err != nil {
			return nil, err
		}
		return audition.Mix(ctx, p.Session, pl, track, faults)
	})
}

// Judge implements [desk.Work].
func (d deskWork) Judge(ctx context.Context, report progress.Reporter) (*audition.Judging, error) {
	return within(ctx, d, report, func(p *Production) (*audition.Judging, error) {
		j := &audition.Judging{}
		_, err := p.Review(ctx, ReviewOptions{NoPlaying: true, show: j.Gather(ctx, p.Session)})
		return j, err
	})
}

// Make implements [desk.Work].
func (d deskWork) Make(ctx context.Context, what string, report progress.Reporter) (made string, err error) {
	return within(ctx, d, report, func(p *Production) (string, error) {
		if what == desk.Handout {
			r, err := handout.Write(ctx, p.Session)
			return r.File, err
		}
		r, err := p.Render(ctx, RenderOptions{Rough: what == desk.Rough})
		if err == nil {
			err = roll.Verdict(r.Faults)
		}
		return r.Output, err
	})
}

// Measure implements [desk.Work].
func (d deskWork) Measure(ctx context.Context, report progress.Reporter) (desk.Measured, error) {
	return within(ctx, d, report, func(p *Production) (desk.Measured, error) {
		r, err := p.Mix(ctx, MixOptions{})
		return desk.Measured{Loudness: r.Loudness, TruePeak: r.TruePeak, Gain: r.Master.Gain}, err
	})
}

// Look implements [desk.Work].
func (d deskWork) Look(ctx context.Context, report progress.Reporter) (*audition.Looking, error) {
	return within(ctx, d, report, func(p *Production) (*audition.Looking, error) {
		pl, set, err := planSeats(ctx, p, audition.Canvases(p.Manifest()))
		if err != nil {
			return nil, err
		}
		return audition.Look(ctx, p.Session, set.Set, pl)
	})
}
