package assemble

import (
	"context"
	"image/png"
	"math"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/session"
	"ripieno/assemble/soundtrack"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/layout/card"
	"ripieno/mix/audio"
)

// MixOptions choose what Mix makes besides the master.
type MixOptions struct {
	Stems bool // a file for each take and each section
}

// Mix makes the sound alone: out/master.wav, a picture of the levels, and
// stems when they are asked for.
func (p *Production) Mix(ctx context.Context, o MixOptions) (MixResult, error) {
	r := MixResult{Strips: []MixStrip{}}
	path, err := p.Out("master.wav")
	if err != nil {
		return r, err
	}
	all, err := p.locate(ctx)
	if err != nil {
		return r, err
	}
	pl, faults, err := p.plan(all, nil)
	if err != nil {
		return r, err
	}
	r.Faults, r.Releases = faults, p.releases()
	p.tellReleases(r.Releases)
	track, err := p.track(pl, all)
	if err != nil {
		return r, err
	}
	var stems []soundtrack.Stem
	if o.Stems {
		stems = track.Stems()
	}
	res, err := p.Run(ctx, task.Collect(append([]task.Edge{track.Master}, stemEdges(stems)...)...))
	if err != nil {
		return r, err
	}
	r.Tasks = TaskCount(res.Stats)
	master, ok, err := track.Master.Result(res)
	if !ok {
		return r, session.FirstFailure(res)
	}
	rep, _, err := track.Report.Result(res)
	if err != nil {
		return r, err
	}
	if err := store.Publish(ctx, path, func(tmp string) error { return store.Copy(ctx, master, tmp) }); err != nil {
		return r, err
	}
	r.fill(path, pl, track, rep)
	if o.Stems {
		if err := p.deliverStems(ctx, stems, res, &r); err != nil {
			return r, err
		}
	}
	p.Session.Trim(ctx)
	return r, p.drawLevels(ctx, track.Levels(pl, rep, all.assets.Fonts), &r)
}

// deliverStems copies the stems to where a person looks for them and takes away
// those of earlier mixes that are no part of this one: beside the others they
// would be taken for one.
func (p *Production) deliverStems(ctx context.Context, stems []soundtrack.Stem, res task.Result, r *MixResult) error {
	dir, err := p.Out(soundtrack.StemsFolder)
	if err != nil {
		return err
	}
	now, err := p.stemRecords(stems, soundtrack.StemsFolder, res)
	if err != nil {
		return err
	}
	gone, err := p.Replace(ctx, session.Folder{Dir: dir, Ours: soundtrack.IsStem}, now, func() error {
		r.Stems, err = p.copyStems(ctx, stems, "")
		return err
	})
	r.Removed, r.Notes = append(r.Removed, gone.Removed...), append(r.Notes, gone.Notes...)
	return err
}

// drawLevels writes the picture of the levels.
func (p *Production) drawLevels(ctx context.Context, o card.LevelsOptions, r *MixResult) error {
	path, err := p.Out("levels.png")
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
func (r *MixResult) fill(path string, pl *plan.Plan, track *soundtrack.Track, rep soundtrack.Report) {
	m := rep.Master
	r.WAV, r.Duration, r.TimeReference = path, pl.Timeline.AudioLen.Seconds(), media.TimeReference(pl.Timeline.AudioStart)
	r.Loudness, r.TruePeak = finite(float64(m.After.Integrated)), finite(float64(m.After.TruePeak))
	r.Range = finite(float64(m.After.Range))
	r.Master = MixMaster{
		Target: pl.Mix.Loudness, Ceiling: pl.Mix.TruePeak,
		Sum: finite(float64(m.Before.Integrated)), Gain: float64(m.Gain), Reduction: float64(m.Reduction), Limited: m.Limited,
		Reached: m.Reached, Tries: rep.Tries, AAC: finite(float64(rep.AAC.Integrated)), AACPeak: finite(float64(rep.AAC.TruePeak)),
	}
	r.Curve = MixCurve{Step: rep.Curve.Step.Seconds(), Momentary: hundredths(rep.Curve.Momentary), ShortTerm: hundredths(rep.Curve.Short)}
	if !m.Reached && m.Reason != "" {
		r.Notes = append(r.Notes, "the loudness asked for was not reached: "+m.Reason)
	}
	for i, s := range pl.Strips {
		strip := mixedStrip(s, rep, i)
		strip.Notes = track.Findings(rep, i)
		r.Strips = append(r.Strips, strip)
	}
}

// hundredths returns levels as meters show them; more digits say nothing.
func hundredths(list []float32) []*float64 {
	out := make([]*float64, len(list))
	for i, v := range list {
		out[i] = finite(math.Round(float64(v)*100) / 100)
	}
	return out
}

// mixedStrip describes strip i.
func mixedStrip(s plan.Strip, rep soundtrack.Report, i int) MixStrip {
	a, v, gain := rep.Strips[i], rep.Voices[i], rep.Gains[i]
	out := MixStrip{
		Take: s.Take, Section: s.Section, Gain: float64(gain), Pan: s.Pan, Width: s.Width, LowCut: max(0, s.Treat.LowCut),
		Loudness: finite(float64(a.Integrated)), Peak: finite(float64(a.Peak)),
		Mixed:        finite(float64(v.Measured.Integrated) + float64(gain)),
		DelaySamples: int64(audio.FramesAt(s.Sound.Clock.Offset)),
	}
	if a.NoiseKnown {
		out.Noise = finite(float64(a.NoiseFloor))
	}
	if !s.Dry {
		out.Send = finite(float64(s.Send))
	}
	for _, l := range s.Lifts {
		out.Lifts = append(out.Lifts, MixLift{l.From.Seconds(), l.To.Seconds(), float64(l.Gain)})
	}
	return out
}
