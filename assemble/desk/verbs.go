package desk

import (
	"context"
	"fmt"
	"net/http"
	"path/filepath"

	"ripieno/assemble/desk/audition"
	"ripieno/assemble/manifest"
	"ripieno/assemble/production"
	"ripieno/assemble/progress"
)

// postRun starts a verb, whose state tells how it goes on.
func (d *desk) postRun(w http.ResponseWriter, r *http.Request) {
	var in struct {
		Verb string `json:"verb"`
	}
	if err := read(r, &in); err != nil {
		fail(w, err)
		return
	}
	run := d.verbs()[in.Verb]
	if run == nil {
		fail(w, refused(fmt.Sprintf("there is no verb %q", in.Verb)))
		return
	}
	alone := func(ctx context.Context, report progress.Reporter) error {
		release, err := d.take(ctx)
		if err != nil {
			return err
		}
		defer release()
		return run(ctx, report)
	}
	if !d.jobs.start(in.Verb, alone) {
		answerWith(w, http.StatusConflict, problem{What: "something else is being done; wait, or cancel it"})
		return
	}
	answerWith(w, http.StatusAccepted, d.state())
}

// take waits until the program does nothing else for the desk, so that the desk never
// waits for itself at the production's lock. release lets the next one have its turn. It
// fails when ctx ends before.
func (d *desk) take(ctx context.Context) (release func(), err error) {
	select {
	case d.busy <- struct{}{}:
		return func() { <-d.busy }, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

// verbs are all that a page may have run, by their names.
func (d *desk) verbs() map[string]func(context.Context, progress.Reporter) error {
	all := map[string]func(context.Context, progress.Reporter) error{"place": d.place, "mix": d.mix, "look": d.look,
		"measure": d.measureMix, "judge": d.judge}
	for _, what := range []string{Rough, Render, Handout} {
		all[what] = func(ctx context.Context, report progress.Reporter) error {
			file, err := d.work.Make(ctx, what, report)
			if file != "" {
				report.Message("made " + filepath.Base(file))
			}
			return err
		}
	}
	return all
}

// manifest returns the manifest as it is.
func (d *desk) manifest() (*production.Production, error) {
	data, err := d.history.read()
	if err != nil {
		return nil, err
	}
	return manifest.Parse(d.history.man.Path, data)
}

// place finds out where all takes lie.
func (d *desk) place(ctx context.Context, report progress.Reporter) error {
	return find(ctx, d, report, d.manifest, d.work.Place, func(man *production.Production, p *audition.Placing) {
		d.placing, d.placed = p, placesOf(man)
		clear(d.strips) // a file may be another one
	})
}

// mix makes what the mix is added up from.
func (d *desk) mix(ctx context.Context, report progress.Reporter) error {
	return find(ctx, d, report, d.manifest, d.work.Mix, func(man *production.Production, m *audition.Mixing) {
		d.mixing, d.mixed = m, voicesOf(man)
	})
}

// look plans the picture and keeps the plan beside the part of the manifest that it follows
// from, by which the page knows when it is out of date.
func (d *desk) look(ctx context.Context, report progress.Reporter) error {
	return find(ctx, d, report, d.manifest, d.work.Look, func(man *production.Production, l *audition.Looking) {
		d.looking, d.looked = l, looksOf(man)
	})
}

// judge looks at and listens to every take.
func (d *desk) judge(ctx context.Context, report progress.Reporter) error {
	return find(ctx, d, report, d.manifest, d.work.Judge, func(man *production.Production, j *audition.Judging) {
		d.judging, d.judged = j, judgedOf(man)
	})
}

// measureMix makes the finished sound and measures it.
func (d *desk) measureMix(ctx context.Context, report progress.Reporter) error {
	version := func() (string, error) { return d.state().Version, nil }
	return find(ctx, d, report, version, d.work.Measure, func(of string, m Measured) {
		d.measure, d.heard = &m, of
	})
}

// find lets the program find something out and keeps it, beside what it was found out of:
// that is read before, since somebody may decide otherwise meanwhile. keep holds the lock.
func find[Of, Found any](ctx context.Context, d *desk, report progress.Reporter, of func() (Of, error),
	work func(context.Context, progress.Reporter) (Found, error), keep func(Of, Found),
) error {
	before, err := of()
	if err != nil {
		return err
	}
	found, err := work(ctx, report)
	if err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	keep(before, found)
	return nil
}

// material returns what was made last.
func (d *desk) material() (*audition.Placing, *audition.Mixing) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.placing, d.mixing
}
