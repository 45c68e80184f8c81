package assemble

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/fault"
	"ripieno/assemble/plan"
	"ripieno/assemble/task"
)

// RenderOptions choose what Render makes.
type RenderOptions struct {
	Rough bool     // quick previews instead of finished films
	Marks bool     // with Rough: burn the place in the score and the guide time in
	Only  []string // names of deliverables; empty: all, or the first for a rough cut
	// AllowMissingRelease makes finished films while releases are missing. A
	// take with release: no is left out even so.
	AllowMissingRelease bool
}

// PlanResult is what a run would do.
type PlanResult struct {
	Tasks    []task.Planned `json:"tasks"`
	Releases []Bad          `json:"releases,omitempty"` // what is open before this may be published
	Faults   []Bad          `json:"faults,omitempty"`
}

// wants are the films of a run, rough cuts at their small canvas. Every finished
// one has an encoder that works.
func (p *Production) wants(ctx context.Context, o RenderOptions) ([]plan.Want, error) {
	all := p.deliverables()
	var names []string
	for _, w := range all {
		names = append(names, w.Name)
	}
	for _, n := range o.Only {
		if !slices.Contains(names, n) {
			return nil, fault.New(fault.Manifest, p.man.Path, fmt.Sprintf("no deliverable is called %q", n), fmt.Sprintf("the manifest has %q", names))
		}
	}
	if o.Rough && len(o.Only) == 0 {
		all = all[:1]
	}
	var wants []plan.Want
	for _, w := range all {
		if len(o.Only) > 0 && !slices.Contains(o.Only, w.Name) {
			continue
		}
		if o.Rough {
			w.Rough, w.Marks, w.Codec = true, o.Marks, "h264"
			w.Canvas.W, w.Canvas.H = roughCanvas(w.Canvas.W, w.Canvas.H)
			w.Name = "rough-" + w.Name
			if w.Name == "rough-"+names[0] {
				w.Name = "rough"
			}
		}
		wants = append(wants, w)
	}
	return wants, p.pickEncoders(ctx, wants)
}

// job is everything a run of Render has to make.
type job struct {
	plan    *plan.Plan
	track   *soundTrack
	posters []*task.Task // of the films, nil for none
	flashes []*task.Task // counted in the films, nil for rough cuts
	films   []task.Task  // of the finished films, in the plan's order
	tasks   []task.Task
	faults  []Bad
}

// plan plans films from what was found out about the recordings.
func (p *Production) plan(all []located, wants []plan.Want) (*plan.Plan, []Bad, error) {
	line, err := plan.NewTimeline(p.man)
	if err != nil {
		return nil, nil, err
	}
	facts, faults := p.facts(all, &line)
	pl, err := plan.New(p.man, facts, wants, p.look.Look)
	return pl, faults, err
}

func (p *Production) job(all []located, wants []plan.Want) (*job, error) {
	j := &job{}
	var err error
	if j.plan, j.faults, err = p.plan(all, wants); err != nil {
		return nil, err
	}
	if j.track, err = p.soundTrack(j.plan, all); err != nil {
		return nil, err
	}
	j.tasks = j.track.tasks
	known := map[string]bool{}
	for _, f := range j.plan.Films {
		x, err := p.filmTasks(f, j.plan.Timeline, j.plan.Chapters, j.track.final)
		if err != nil {
			return nil, err
		}
		film := x.film
		for _, t := range append(x.before, film) {
			if !known[t.ID] {
				known[t.ID] = true
				j.tasks = append(j.tasks, t)
			}
		}
		j.films = append(j.films, film)
		j.posters, j.flashes = append(j.posters, nil), append(j.flashes, nil)
		if !f.Rough {
			watch := p.flashTask(f, j.plan.Timeline, x.segments)
			j.tasks = append(j.tasks, watch)
			j.flashes[len(j.flashes)-1] = &watch
		}
		if f.Poster >= 0 && !f.Rough {
			poster := p.posterTask(f, j.plan.Timeline, film)
			j.tasks = append(j.tasks, poster)
			j.posters[len(j.posters)-1] = &poster
		}
	}
	return j, nil
}

// Plan says what Render would make, and makes nothing but the measurements
// that the answer depends on.
func (p *Production) Plan(ctx context.Context, o RenderOptions) (PlanResult, error) {
	wants, err := p.wants(ctx, o)
	if err != nil {
		return PlanResult{}, err
	}
	all, err := p.locate(ctx)
	if err != nil {
		return PlanResult{}, err
	}
	j, err := p.job(all, wants)
	if err != nil {
		return PlanResult{}, err
	}
	runner := task.Runner{Store: p.store, Workers: p.set.Workers, Memory: p.set.Memory}
	tasks, err := runner.Plan(ctx, j.tasks)
	open := p.releases()
	p.tellReleases(open)
	return PlanResult{Tasks: tasks, Releases: open, Faults: j.faults}, err
}

// Render makes films: measures what has not been measured, plans, makes what
// the store lacks and delivers. A take whose picture turns out to be damaged
// gets a card in its seat and the rest goes on.
func (p *Production) Render(ctx context.Context, o RenderOptions) (RenderResult, error) {
	begun := p.set.Now()
	r := RenderResult{Films: []FilmResult{}}
	wants, err := p.wants(ctx, o)
	if err != nil {
		return r, err
	}
	if r.Releases = p.releases(); !o.Rough && !o.AllowMissingRelease {
		if err := unreleased(r.Releases); err != nil {
			return r, err
		}
	}
	p.tellReleases(r.Releases)
	paths := make([]string, len(wants))
	for i, w := range wants {
		if paths[i], err = p.out(w.Name + ".mp4"); err != nil {
			return r, err
		}
	}
	all, err := p.locate(ctx)
	if err != nil {
		return r, err
	}
	j, res, err := p.make(ctx, all, wants, &r)
	if err != nil {
		return r, err
	}
	for i, f := range j.plan.Films {
		if _, err := p.store.Deliver(ctx, j.films[i].Action, paths[i]); err != nil {
			return r, err
		}
		film := FilmResult{
			Name: f.Name, Output: paths[i], Canvas: f.Canvas.String(), Frames: j.plan.Timeline.Frames, Duration: j.plan.Timeline.Duration(),
			Codec: f.Codec, Encoder: p.coding(f).Name(),
		}
		if film.Flashes, err = p.flashes(f.Name, j.flashes[i], res); err != nil {
			return r, err
		}
		if err := p.deliverBeside(ctx, j.plan, f, j.posters[i], &film); err != nil {
			return r, err
		}
		r.Films = append(r.Films, film)
	}
	r.Output, r.Frames, r.Duration = r.Films[0].Output, r.Films[0].Frames, r.Films[0].Duration
	rep, err := load[soundReport](filepath.Join(res.Path(j.track.final.ID), reportFile))
	if err != nil {
		return r, err
	}
	r.Loudness, r.TruePeak = finite(float64(rep.AAC.Integrated)), finite(float64(rep.AAC.TruePeak))
	p.trim(ctx)
	r.Wall = p.set.Now().Sub(begun).Seconds()
	return r, nil
}

// make runs the tasks of the films. When a take's picture cannot be read to
// its end, it is planned again with what there is of it.
func (p *Production) make(ctx context.Context, all []located, wants []plan.Want, r *RenderResult) (*job, task.Result, error) {
	for {
		j, err := p.job(all, wants)
		if err != nil {
			return nil, task.Result{}, err
		}
		res, err := p.run(ctx, j.tasks)
		if err != nil {
			return nil, res, err
		}
		r.Tasks.Run += res.Stats.Run
		r.Tasks.Reused, r.Faults = res.Stats.Reused, j.faults
		if j.finished(res) {
			return j, res, nil
		}
		if !blame(all, res) {
			return nil, res, firstFailure(res)
		}
	}
}

// finished tells whether every film is there.
func (j *job) finished(res task.Result) bool {
	for _, f := range j.films {
		if res.Path(f.ID) == "" {
			return false
		}
	}
	return true
}

// shortPicture is the error of a picture that ends before its file says.
type shortPicture struct {
	file      string
	got, want int     // frames
	seconds   float64 // file time at which it ends
}

// Error implements error.
func (e *shortPicture) Error() string {
	return fmt.Sprintf("%s: the picture breaks off after %.1f s; only %d of %d frames could be read", e.file, e.seconds, e.got, e.want)
}

// usableSeconds is how much of a broken picture is worth showing.
const usableSeconds = 1

// blame notes failed conforming on the recordings concerned and tells whether
// there was any: what can be shown of a picture that breaks off is shown, any
// other is left out.
func blame(all []located, res task.Result) bool {
	found := false
	for _, o := range res.Outcomes {
		for _, l := range all {
			if o.State != task.Failed || !strings.HasPrefix(o.ID, conformID(l.owner, "")) || l.role != roleVideo || l.err != nil {
				continue
			}
			var short *shortPicture
			if errors.As(o.Err, &short) && l.short == nil && short.seconds-l.info.Video.Start >= usableSeconds {
				short.file = l.file.Path
				l.recording.short = short
			} else {
				l.recording.err = l.named(o.Err)
			}
			found = true
		}
	}
	return found
}
