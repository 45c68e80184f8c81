package assemble

import (
	"context"
	"errors"
	"fmt"
	"math"

	"ripieno/assemble/elsewhere"
	"ripieno/assemble/fault"
	"ripieno/assemble/picture"
	"ripieno/assemble/plan"
	"ripieno/assemble/roll"
	"ripieno/assemble/session"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/takes"
	"ripieno/assemble/task"
	"ripieno/layout/shot"
	"ripieno/mix/audio"
)

// RenderOptions choose what Render makes.
type RenderOptions struct {
	Rough bool     // quick previews instead of finished films
	Quick bool     // with Rough: a first look, of key frames
	Marks bool     // with Rough: burn the place in the score and the guide time in
	Only  []string // names of deliverables; empty: all, or the first for a rough cut
	// AllowMissingRelease makes finished films while releases are missing. A
	// take with release: no is left out even so.
	AllowMissingRelease bool
}

// PlanResult is what a run would do.
type PlanResult struct {
	Tasks    []task.Planned `json:"tasks"`
	Forecast task.Forecast  `json:"forecast"`
	Store    int64          `json:"store_limit"`        // bytes that the cache may hold
	Releases []Bad          `json:"releases,omitempty"` // what is open before this may be published
	Faults   []Bad          `json:"faults,omitempty"`
}

// wantedFilms returns the films of a run, and for every finished one of them an
// encoder that works here.
func wantedFilms(ctx context.Context, p *Production, o RenderOptions) ([]plan.Want, picture.Codings, error) {
	man := p.Manifest()
	choose := func() ([]plan.Want, error) { return plan.Choose(man, o.Only) }
	if o.Quick {
		choose = func() ([]plan.Want, error) { return plan.ChooseQuick(man, o.Only) }
	} else if o.Rough {
		choose = func() ([]plan.Want, error) { return plan.ChooseRough(man, o.Only, o.Marks) }
	}
	wants, err := choose()
	if err != nil {
		return nil, nil, err
	}
	codings, err := picture.Picker{
		Tool: p.Tool(), Choice: p.Encoder(), Rate: shot.Rate{Num: man.Picture.FPSNum, Den: man.Picture.FPSDen},
		Tell: p.Message,
	}.Pick(ctx, wants)
	return wants, codings, err
}

// job is everything a run of Render has to make.
type job struct {
	plan   *plan.Plan
	track  *soundtrack.Track
	maker  *picture.Maker
	films  []picture.Film // in the plan's order
	tasks  []task.Task
	faults []Bad
}

// newJob plans films and the tasks that make them.
func newJob(ctx context.Context, p *Production, all material, wants []plan.Want, codings picture.Codings) (*job,
	error) {
	j := &job{}
	var err error
	if j.plan, j.faults, err = p.plan(ctx, all, wants); err != nil {
		return nil, err
	}
	if j.track, err = p.track(j.plan, all); err != nil {
		return nil, err
	}
	if len(wants) > 0 && wants[0].Quick {
		if j.plan, j.faults, err = planQuick(ctx, p, all, wants, j.plan.Timeline); err != nil {
			return nil, err
		}
	}
	j.maker = picture.New(p.Tool(), p.Store().Steady, j.plan, all.assets, codings).WithDecoders(
		&picture.Decoders{Tool: p.Tool(), Choice: p.Settings().Decoder, Tell: p.Message})
	edges := []task.Edge{j.track.Master}
	for _, f := range j.plan.Films {
		film, err := j.maker.Film(f, j.track.Film)
		if err != nil {
			return nil, err
		}
		j.films, edges = append(j.films, film), append(edges, film.Edges...)
	}
	j.tasks = task.Collect(edges...)
	return j, nil
}

// Plan says what Render would make, and makes nothing but the measurements
// that the answer depends on.
func (p *Production) Plan(ctx context.Context, o RenderOptions) (PlanResult, error) {
	wants, codings, err := wantedFilms(ctx, p, o)
	if err != nil {
		return PlanResult{}, err
	}
	all, err := p.locate(ctx, takes.PlayersFor(o.Rough, o.Quick)...)
	if err != nil {
		return PlanResult{}, err
	}
	j, err := newJob(ctx, p, all, wants, codings)
	if err != nil {
		return PlanResult{}, err
	}
	r := PlanResult{Store: p.Settings().Store, Releases: p.openReleases(), Faults: j.faults}
	if r.Tasks, err = p.Session.Plan(ctx, j.tasks); err != nil {
		return r, err
	}
	r.Forecast, err = elsewhere.Forecast(ctx, p.Session, j.tasks)
	return r, err
}

// warnOfStore says before anything is made that the cache cannot hold what these
// films are made of, so that a second run would make most of it again.
func (j *job) warnOfStore(p *Production) {
	var bytes int64
	for _, t := range j.tasks {
		bytes += t.Bytes
	}
	if limit := p.Settings().Store; bytes > limit {
		p.Message(fmt.Sprintf("these films are made of about %.0f GB of results, and the cache may hold %.0f GB: "+
			"every run would make most of it again; allow more with --store-limit %.0fGB", float64(bytes)/1e9,
			float64(limit)/1e9, math.Ceil(1.2*float64(bytes)/1e9)))
	}
}

// Render makes films: measures what has not been measured, plans, makes what
// the store lacks and delivers. A take whose picture turns out to be damaged
// gets a card in its seat and the rest goes on.
func (p *Production) Render(ctx context.Context, o RenderOptions) (RenderResult, error) {
	begun, r := p.Now(), RenderResult{Films: []FilmResult{}}
	wants, codings, err := wantedFilms(ctx, p, o)
	if err != nil {
		return r, err
	}
	if r.Releases = roll.Releases(p.Manifest()); !o.Rough && !o.AllowMissingRelease {
		if err := roll.RefuseUnreleased(r.Releases); err != nil {
			return r, err
		}
	}
	p.openReleases()
	paths := make([]string, len(wants))
	for i, w := range wants {
		if paths[i], err = p.OutFile(w.Name + ".mp4"); err != nil {
			return r, err
		}
		if err := p.OutFiles(besideNames(p, w)...); err != nil {
			return r, err
		}
	}
	borrowed, giveBack, err := elsewhere.Borrow(ctx, p.Session)
	if err != nil {
		return r, err
	}
	defer giveBack()
	p = &Production{borrowed}
	all, err := p.locate(ctx, takes.PlayersFor(o.Rough, o.Quick)...)
	if err != nil {
		return r, err
	}
	j, res, err := makeFilms(ctx, p, all, wants, codings, &r)
	if err != nil {
		return r, err
	}
	for i, f := range j.films {
		film, err := deliverFilm(ctx, p, j, f, paths[i], res)
		if err != nil {
			return r, err
		}
		r.Films = append(r.Films, film)
	}
	r.Output, r.Frames, r.Duration = r.Films[0].Output, r.Films[0].Frames, r.Films[0].Duration
	rep, _, err := j.track.Report.Result(res)
	if err != nil {
		return r, err
	}
	r.Loudness, r.TruePeak = audio.Finite(float64(rep.AAC.Integrated)), audio.Finite(float64(rep.AAC.TruePeak))
	p.Session.Trim(ctx)
	r.Wall = p.Now().Sub(begun).Seconds()
	return r, nil
}

// makeFilms runs the tasks of the films. When a take's picture cannot be read to
// its end, it is planned again with what there is of it.
func makeFilms(ctx context.Context, p *Production, all material, wants []plan.Want, codings picture.Codings,
	r *RenderResult) (*job, task.Result, error) {
	for {
		j, err := newJob(ctx, p, all, wants, codings)
		if err != nil {
			return nil, task.Result{}, err
		}
		j.warnOfStore(p)
		res, err := p.Run(ctx, j.tasks)
		if err != nil {
			return nil, res, err
		}
		r.Tasks.Run, r.Tasks.Away = r.Tasks.Run+res.Stats.Run, r.Tasks.Away+res.Stats.Away
		r.Tasks.Reused, r.Faults = res.Stats.Reused, j.faults
		if j.isFinished(res) {
			return j, res, nil
		}
		if !j.blame(all.Set, res) {
			return nil, res, session.FirstFailure(res)
		}
	}
}

// isFinished reports whether every film is there.
func (j *job) isFinished(res task.Result) bool {
	for _, f := range j.films {
		if f.Joined.Outcome(res).Path == "" {
			return false
		}
	}
	return true
}

// deliverFilm brings a finished film and what stands beside it to their names.
func deliverFilm(ctx context.Context, p *Production, j *job, f picture.Film, path string,
	res task.Result) (FilmResult, error) {
	line := j.plan.Timeline
	r := FilmResult{
		Name: f.Name, Output: path, Canvas: f.Canvas.String(), Frames: line.Frames, Duration: line.Duration(),
		Codec: f.Codec, Encoder: j.maker.Encoder(f.Film),
	}
	if _, err := p.Store().Deliver(ctx, f.Joined.Action(), path); err != nil {
		return r, err
	}
	if counted, ok, err := f.Flashes.Result(res); err != nil {
		return r, err
	} else if ok {
		var warning string
		if r.Flashes, warning = picture.NewFlashes(f.Name, counted); warning != "" {
			p.Message(warning)
		}
	}
	if !f.Poster.IsZero() {
		var err error
		if r.Poster, err = p.OutFile(f.Name + "-poster.png"); err != nil {
			return r, err
		}
		if _, err := p.Store().Deliver(ctx, f.Poster.Action(), r.Poster); err != nil {
			return r, err
		}
	}
	return r, writeNotes(ctx, p, j.plan, f.Film, &r)
}

// blame notes failed conforming on the recordings concerned and reports whether
// there was any: what can be shown of a picture that breaks off is shown, any
// other is left out.
func (j *job) blame(set *takes.Set, res task.Result) bool {
	wrong := map[*takes.Recording]error{}
	for _, f := range j.films {
		for i, c := range f.Conforms {
			why := f.Conformed[i].Outcome(res)
			r := set.Find(c.Take, c.Picture.Hash)
			if why.State == task.Failed && r != nil {
				wrong[r] = sooner(wrong[r], why.Err)
			}
		}
	}
	for r, err := range wrong {
		var broken *picture.BrokenOff
		if errors.As(err, &broken) {
			broken.File = r.File.Path
			if r.BreaksOff(broken.Seconds, broken) {
				continue
			}
			err = fault.New(fault.Media, r.File.Path, fmt.Sprintf("only %d of %d frames of the picture could be read",
				broken.Got, broken.Want),
				"ask the player for a new export of the video")
		}
		r.Refuse(err)
	}
	return len(wrong) > 0
}

// sooner returns which of two errors of one picture leaves less of it.
func sooner(a, b error) error {
	var x, y *picture.BrokenOff
	if a == nil || errors.As(a, &x) && (!errors.As(b, &y) || y.Seconds < x.Seconds) {
		return b
	}
	return a
}
