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
	man, err := d.manifest()
	if err != nil {
		return err
	}
	p, err := d.work.Place(ctx, report)
	if err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.placing, d.placed = p, placesOf(man)
	clear(d.strips) // a file may be another one
	return nil
}

// mix makes what the mix is added up from.
func (d *desk) mix(ctx context.Context, report progress.Reporter) error {
	man, err := d.manifest()
	if err != nil {
		return err
	}
	m, err := d.work.Mix(ctx, report)
	if err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.mixing, d.mixed = m, voicesOf(man)
	return nil
}

// look plans the picture and keeps the plan beside the part of the manifest that it follows
// from, by which the page knows when it is out of date.
func (d *desk) look(ctx context.Context, report progress.Reporter) error {
	man, err := d.manifest()
	if err != nil {
		return err
	}
	l, err := d.work.Look(ctx, report)
	if err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.looking, d.looked = l, looksOf(man)
	return nil
}

// judge looks at and listens to every take.
func (d *desk) judge(ctx context.Context, report progress.Reporter) error {
	man, err := d.manifest()
	if err != nil {
		return err
	}
	j, err := d.work.Judge(ctx, report)
	if err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.judging, d.judged = j, judgedOf(man)
	return nil
}

// measureMix makes the finished sound and measures it.
func (d *desk) measureMix(ctx context.Context, report progress.Reporter) error {
	of := d.state().Version
	m, err := d.work.Measure(ctx, report)
	if err != nil {
		return err
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	d.measure, d.heard = &m, of
	return nil
}

// material returns what was made last.
func (d *desk) material() (*audition.Placing, *audition.Mixing) {
	d.mu.Lock()
	defer d.mu.Unlock()
	return d.placing, d.mixing
}
