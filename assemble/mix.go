package assemble

import (
	"context"
	"image/png"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/session"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/stems"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/card"
	"ripieno/layout/direct"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
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
	extras, err := p.extras(o, track, pl.Tempo)
	if err != nil {
		return r, err
	}
	edges := append([]task.Edge{track.Master}, extras.edges()...)
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
	var who direct.Cast
	if who.Players, who.Starts, _, err = all.Directed(p.Manifest(), res); err != nil {
		return r, err
	}
	found, err := track.Find(rep, res, pl.Tempo, who)
	if err != nil {
		return r, err
	}
	r.fill(path, pl, track, rep, track.StripResults(rep, found))
	if err := extras.deliver(ctx, p, res, &r); err != nil {
		return r, err
	}
	p.Session.Trim(ctx)
	err = drawLevels(ctx, p, track.Levels(pl, rep, found.Heard, all.assets.Fonts), &r)
	return r, err
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

// mixExtras is what a mix makes besides its master. What was not asked for is not
// made, and what earlier mixes left of it stays.
type mixExtras struct {
	MixOptions
	stems  []soundtrack.Stem
	stages []soundtrack.Stage
}

// extras returns the stems and stages that o asks for. It fails before anything is
// made when the name of a stem cannot be written.
func (p *Production) extras(o MixOptions, track *soundtrack.Track, music *tempo.Map) (mixExtras, error) {
	b := mixExtras{MixOptions: o}
	if o.Stems {
		b.stems = track.Stems()
	}
	if o.Stages {
		b.stages = track.Stages(music)
	}
	return b, p.OutFiles(stems.Files(b.stems, "")...)
}

// edges returns the tasks that make all of it.
func (b mixExtras) edges() []task.Edge {
	return append(stems.Edges(b.stems), stems.Edges(stageFiles(b.stages))...)
}

// deliver copies all of it to where a person looks for it.
func (b mixExtras) deliver(ctx context.Context, p *Production, res task.Result, r *MixResult) error {
	if b.Stems {
		list, gone, err := stems.Replace(ctx, p.Session, b.stems, stems.OfMix, res)
		r.Stems = list
		r.Removed, r.Notes = append(r.Removed, gone.Removed...), append(r.Notes, gone.Notes...)
		if err != nil {
			return err
		}
	}
	if !b.Stages {
		return nil
	}
	list, gone, err := stems.Replace(ctx, p.Session, stageFiles(b.stages), stems.OfStages, res)
	for i, x := range list {
		r.Stages = append(r.Stages, MixStage{Stage: b.stages[i].Step, After: x.File})
		if i > 0 {
			r.Stages[i].Before = list[i-1].File
		}
	}
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

// fill says what the mix became, from what was measured of it; loudness is null where nothing
// sounds.
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
