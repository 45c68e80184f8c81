package assemble

import (
	"context"
	"image/png"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/session"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/card"
	"ripieno/mix/audio"
)

// levelsName is the picture of the levels beside the master.
const levelsName = "levels.png"

// MixOptions choose what Mix makes besides the master.
type MixOptions struct {
	Stems  bool // a file for each take and each section
	Stages bool // the sound after every step of the mix, 20 seconds of it
}

// Mix makes the sound alone: out/master.wav, a picture of the levels, and
// stems when they are asked for.
func (p *Production) Mix(ctx context.Context, o MixOptions) (MixResult, error) {
	r := MixResult{Strips: []MixStrip{}}
	path, err := p.OutFile("master.wav")
	if err != nil {
		return r, err
	}
	if err := p.OutFiles(levelsName); err != nil {
		return r, err
	}
	all, err := p.locate(ctx)
	if err != nil {
		return r, err
	}
	pl, faults, err := p.plan(ctx, all, nil)
	if err != nil {
		return r, err
	}
	r.Faults, r.Releases = faults, p.openReleases()
	track, err := p.track(pl, all)
	if err != nil {
		return r, err
	}
	var stems []soundtrack.Stem
	if o.Stems {
		stems = track.Stems()
		if err := p.OutFiles(stemFiles(stems, "")...); err != nil {
			return r, err
		}
	}
	stages := track.Stages(pl.Tempo)
	if !o.Stages {
		stages = nil
	}
	edges := append([]task.Edge{track.Master}, stemEdges(append(stems, stageFiles(stages)...))...)
	edges = append(append(edges, track.Findings()...), all.Roles(p.Manifest())...)
	res, err := p.Run(ctx, task.Collect(edges...))
	if err != nil {
		return r, err
	}
	r.Tasks = TaskCount(res.Stats)
	rep, _, err := track.Report.Result(res)
	if err != nil {
		return r, err
	}
	if err := deliverMaster(ctx, track, res, path); err != nil {
		return r, err
	}
	var who soundtrack.Playing
	if who.Players, who.Starts, _, err = all.Directed(p.Manifest(), res); err != nil {
		return r, err
	}
	found, err := track.Find(rep, res, pl.Tempo, who)
	if err != nil {
		return r, err
	}
	r.fill(path, pl, track, rep, track.StripResults(rep, found))
	if o.Stems {
		if err := deliverStems(ctx, p, stems, res, &r); err != nil {
			return r, err
		}
	}
	if o.Stages {
		if err := deliverStages(ctx, p, stages, res, &r); err != nil {
			return r, err
		}
	}
	p.Session.Trim(ctx)
	return r, drawLevels(ctx, p, track.Levels(pl, rep, found.Heard, all.assets.Fonts), &r)
}

// deliverMaster copies the master to path. When it was not made, the error is the
// first failure of the tasks.
func deliverMaster(ctx context.Context, track *soundtrack.Track, res task.Result, path string) error {
	master, ok, err := track.Master.Result(res)
	switch {
	case err != nil:
		return err
	case !ok:
		return session.FirstFailure(res)
	}
	return store.Publish(ctx, path, func(tmp string) error { return store.Copy(ctx, master, tmp) })
}

// deliverStems copies the stems to where a person looks for them and takes away
// those of earlier mixes that are no part of this one: beside the others they
// would be taken for one.
func deliverStems(ctx context.Context, p *Production, stems []soundtrack.Stem, res task.Result, r *MixResult) error {
	dir, err := p.Out(soundtrack.StemsFolder)
	if err != nil {
		return err
	}
	now, err := stemRecords(p, stems, soundtrack.StemsFolder, res)
	if err != nil {
		return err
	}
	gone, err := p.Replace(ctx, session.Folder{Dir: dir, Ours: soundtrack.IsStem}, now, func() error {
		r.Stems, err = copyStems(ctx, p, stems, "")
		return err
	})
	r.Removed, r.Notes = append(r.Removed, gone.Removed...), append(r.Notes, gone.Notes...)
	return err
}

// deliverStages does what deliverStems does for the sound of every stage.
func deliverStages(ctx context.Context, p *Production, stages []soundtrack.Stage, res task.Result,
	r *MixResult) error {
	dir, err := p.Out(soundtrack.StagesFolder)
	if err != nil {
		return err
	}
	files := stageFiles(stages)
	now, err := stemRecords(p, files, soundtrack.StagesFolder, res)
	if err != nil {
		return err
	}
	gone, err := p.Replace(ctx, session.Folder{Dir: dir, Ours: soundtrack.IsStage}, now, func() error {
		list, err := copyStems(ctx, p, files, "")
		for i, x := range list {
			r.Stages = append(r.Stages, MixStage{Stage: stages[i].Step, After: x.File})
			if i > 0 {
				r.Stages[i].Before = list[i-1].File
			}
		}
		return err
	})
	r.Removed, r.Notes = append(r.Removed, gone.Removed...), append(r.Notes, gone.Notes...)
	return err
}

// stageFiles returns the files of stages.
func stageFiles(stages []soundtrack.Stage) []soundtrack.Stem {
	var list []soundtrack.Stem
	for _, s := range stages {
		list = append(list, s.Stem)
	}
	return list
}

// drawLevels writes the picture of the levels.
func drawLevels(ctx context.Context, p *Production, o card.LevelsOptions, r *MixResult) error {
	path, err := p.OutFile(levelsName)
	if err != nil {
		return err
	}
	img, err := card.Levels(o)
	if err != nil {
		return err
	}
	r.Levels = path
	return store.Publish(ctx, path, func(tmp string) error { return media.WritePNG(tmp, img, png.DefaultCompression) })
}

// fill says what the mix became.
func (r *MixResult) fill(path string, pl *plan.Plan, track *soundtrack.Track, rep soundtrack.Report,
	strips []soundtrack.StripResult) {
	m := rep.Master
	r.WAV, r.Duration, r.TimeReference = path, pl.Timeline.AudioLen.Seconds(),
		media.TimeReference(pl.Timeline.AudioStart)
	r.Loudness, r.TruePeak = audio.Finite(float64(m.After.Integrated)), audio.Finite(float64(m.After.TruePeak))
	r.Range = audio.Finite(float64(m.After.Range))
	r.Master, r.Curve, r.Strips = track.MasterResult(rep), rep.Curve.Result(), strips
	if !m.Reached && m.Reason != "" {
		r.Notes = append(r.Notes, "the loudness asked for was not reached: "+m.Reason)
	}
}
