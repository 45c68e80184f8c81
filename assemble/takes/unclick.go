package takes

import (
	"context"
	"math"

	"ripieno/assemble/media"
	"ripieno/assemble/session"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/audio"
	"ripieno/mix/tempo"
)

// unclick listens again to the sounds into which clicks of the guide leaked loudly, without
// them, and places everybody again: notes under a click are not heard to begin.
func (s *Set) unclick(ctx context.Context, x *session.Session, l *listened) error {
	loud := false
	for i := range s.Takes {
		m, shift := guideOfTake(x.Manifest(), s.Takes[i].Name)
		for _, r := range s.Takes[i].Recordings() {
			p := l.placed[r.Name()]
			if r.Features != nil && len(r.Features.Leaked) == 0 && p.LoudLeak(r.Features) {
				r.refs.features = unclickTask(r, m, micro(p.ClickOffset-shift), math.Round(p.DriftPPM))
				loud = true
			}
		}
	}
	if !loud {
		return nil
	}
	return s.listen(ctx, x, l)
}

// unclickTask listens to a sound without the clicks of the guide m, which sound on its beats
// where the sound lies at offset, in seconds, by a clock that is so fast.
func unclickTask(r *Recording, m *tempo.Map, offset, ppm float64) task.Ref[*align.Features] {
	heard := r.refs.features
	t := task.Task{
		ID: task.ID("unclick", r.Name()), Stage: "listen", Cost: costAnalyse * r.Info.Duration,
		Name: r.File.Path, Keep: true,
		Action: store.NewAction("unclick").Version(align.Version()).Arg("beats", beatTimes(m)).
			Arg("offset", offset).Arg("ppm", ppm),
	}
	t.Needs("sound", r.Sound)
	t.Needs("features", heard)
	t.Action = t.Action.Ext(".gob").For(r.File.Path)
	t.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		path, err := r.Sound.Read(in)
		if err != nil {
			return err
		}
		before, err := heard.Read(in)
		if err != nil {
			return err
		}
		return measureUnclicked(path, before, m, offset, ppm, tmp)
	}
	return task.Value[*align.Features](t)
}

// measureUnclicked stores what is heard in a sound at path once the clicks of m are taken
// out of it; before is what was heard with them.
func measureUnclicked(path string, before *align.Features, m *tempo.Map, offset, ppm float64, tmp string) error {
	open := func() (audio.Source, error) { return media.OpenWAV(path) }
	f, err := align.AnalyseWithoutClicks(open, m, offset, ppm, before)
	if err != nil {
		return err
	}
	return store.Save(tmp, f)
}

// beatTimes returns what of a guide decides when it clicks and how: the seconds of its cue and
// of every beat, negative ones of downbeats.
func beatTimes(m *tempo.Map) []float64 {
	out := []float64{m.Cue()}
	for b := range m.Beats() {
		at := b.Seconds
		if b.Downbeat {
			at = -1 - at
		}
		out = append(out, at)
	}
	return out
}
