package assemble

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"

	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/room"
)

// mixRule is the version of everything the mix packages compute. Raise it when
// a sample changes.
const mixRule = 3

// Files of the sound in the store.
const (
	sumWAV     = "sum.wav"
	masterWAV  = "master.wav"
	filmM4A    = "film.m4a"
	reportFile = "report.gob"
)

// levelsName is the picture of the levels beside the master.
const levelsName = "levels.png"

// Estimated cost in seconds of one core for each second of sound.
const (
	costLevel  = 0.003
	costVoice  = 0.008
	costSum    = 0.001
	costMaster = 0.06
)

// soundReport is kept beside the sum and, with more in it, beside the finished
// sound.
type soundReport struct {
	Sum    mix.Measured
	Gains  []audio.Decibels
	Strips []mix.Analysis // of the recordings
	Voices []voiceInfo

	Master mix.MasterReport
	AAC    mix.Measured // of the encoded sound, decoded again
	Tries  int          // how often it was mastered and encoded
	Curve  curve        // of the master
}

// soundTrack is the mix of one plan: the tasks that make it and where its
// parts are.
type soundTrack struct {
	tasks []task.Task
	sum   task.Task
	final task.Task
	parts []entry
}

// entry is one strip with what stands behind it.
type entry struct {
	plan.Strip
	rec   *recording
	voice store.Action
	group audio.Decibels // its section's gain
}

// soundTrack plans the mix: recordings are measured and turned into voices one
// by one, voices are added up, the sum is mastered. A change of gain or place
// begins at the sum.
func (p *Production) soundTrack(pl *plan.Plan, all []located) (*soundTrack, error) {
	t := &soundTrack{}
	groups := p.sectionGains(pl.Strips)
	var after []string
	for _, s := range pl.Strips {
		rec := recordingOf(all, s)
		if rec == nil {
			return nil, fmt.Errorf("the sound of take %q has no recording", s.Take)
		}
		level, voice := p.levelTask(rec, s), p.voiceTask(rec, s)
		t.parts = append(t.parts, entry{s, rec, voice.Action, groups[s.Section]})
		t.tasks = append(t.tasks, p.soundTask(rec), level, voice)
		after = append(after, level.ID, voice.ID)
	}
	if p.man.Mix.Room > 0 && p.room != nil {
		if p.room.err != nil {
			return nil, p.room.err
		}
		t.tasks = append(t.tasks, p.soundTask(p.room))
		after = append(after, soundID(p.room))
	}
	key := p.busKey("sum", pl.Timeline)
	for _, e := range t.parts {
		key = e.mixed(key)
	}
	t.sum = task.Task{
		ID: "sum", Name: "all strips", Stage: "mix", Action: key.Files(sumWAV, reportFile), After: after,
		Cost: 0.1 + costSum*pl.Timeline.Duration()*float64(len(pl.Strips)),
		Make: func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			return p.makeSum(ctx, pl.Timeline, t.parts, in, tmp)
		},
	}
	t.final = p.masterTask(t.sum, pl.Timeline)
	t.tasks = append(t.tasks, t.sum, t.final)
	return t, nil
}

// busKey begins the key of anything that strips are added up to.
func (p *Production) busKey(rule string, line plan.Timeline) store.Action {
	m := p.man.Mix
	key := store.NewAction(rule).Version(mixRule).Arg("start", line.AudioStart).Arg("length", line.AudioLen).
		Arg("room", m.Room).Arg("balance", m.AutoBalance).Arg("fades", []float64{m.FadeIn, m.FadeOut})
	if m.Room > 0 {
		key = key.Arg("hall", m.Hall)
		if p.room != nil {
			key = key.Input("impulse", p.soundKey(p.room).ID())
		}
	}
	return key
}

// mixed adds what a strip contributes to a key.
func (x entry) mixed(key store.Action) store.Action {
	s := x.Strip
	return key.Arg("gain", s.Gain).Arg("section", x.group).Arg("pan", s.Pan).Arg("law", s.Law).Arg("width", s.Width).
		Arg("send", s.Send).Arg("dry", s.Dry).Arg("lifts", s.Lifts).Input("voice", x.voice.ID())
}

// recordingOf is the file a strip's sound comes from.
func recordingOf(all []located, s plan.Strip) *recording {
	for _, l := range all {
		if l.owner == s.Take && l.err == nil && l.hash.String() == s.Sound.Hash && l.info.Audio != nil && l.info.Audio.Index == s.Sound.Stream {
			return l.recording
		}
	}
	return nil
}

// inspectRoom looks at the recorded room, if the manifest has one. What is
// wrong with it is kept for whoever wants to hear it.
func (p *Production) inspectRoom(ctx context.Context) {
	p.room = nil
	if x := p.man.Mix.Impulse; x != nil {
		p.room = &recording{owner: "room", role: "impulse", file: &manifest.File{Path: x.Path, Mark: x.Mark}}
		if err := p.inspect(ctx, p.room); err != nil {
			p.room.err = unusableRoom(x, err)
		}
	}
}

// options are the bus of a mix.
func (p *Production) options(line plan.Timeline, in task.Inputs) (mix.Options, error) {
	m := p.man.Mix
	o := mix.Options{
		Start: line.AudioStart, Length: line.AudioLen, Room: m.Room, Workers: p.set.Workers,
		Hall:   room.Hall{Decay: m.Hall.Decay, High: m.Hall.High, PreDelay: m.Hall.PreDelay, Size: m.Hall.Size},
		FadeIn: audio.FramesAt(m.FadeIn), FadeOut: audio.FramesAt(m.FadeOut),
	}
	if o.Hall.PreDelay == 0 {
		o.Hall.PreDelay = -1 // none: its zero is a default
	}
	if m.Room == 0 || p.room == nil {
		return o, nil
	}
	wav, err := media.OpenWAV(soundOf(in, p.room))
	if err != nil {
		return o, err
	}
	defer wav.Close()
	o.Impulse, err = room.NewImpulse(wav)
	if err != nil {
		return o, unusableRoom(p.man.Mix.Impulse, err)
	}
	return o, nil
}

// makeSum adds the strips up into a file of float samples.
func (p *Production) makeSum(ctx context.Context, line plan.Timeline, parts []entry, in task.Inputs, dir string) error {
	var rep soundReport
	o, err := p.options(line, in)
	if err != nil {
		return err
	}
	strips := make([]mix.Strip, len(parts))
	for i, x := range parts {
		a, err := load[mix.Analysis](in[levelID(x.rec)])
		if err != nil {
			return err
		}
		var v voiceInfo
		if strips[i], v, err = p.mixStrip(x, a, in); err != nil {
			return err
		}
		rep.Strips, rep.Voices = append(rep.Strips, a), append(rep.Voices, v)
		rep.Gains = append(rep.Gains, strips[i].Gain)
	}
	src, err := mix.PreMaster(strips, o)
	if err != nil {
		return err
	}
	if rep.Sum, err = writeSum(ctx, src, filepath.Join(dir, sumWAV)); err != nil {
		return err
	}
	return save(filepath.Join(dir, reportFile), rep)
}

// writeSum writes and measures a programme that is still to be mastered, and
// closes it.
func writeSum(ctx context.Context, src audio.Source, path string) (mix.Measured, error) {
	metered := mix.NewMetered(audio.NewAhead(src))
	_, err := media.CreateWAV(ctx, path, metered, media.Float32)
	err = errors.Join(err, metered.Close())
	return metered.Measured(), err
}

// MixOptions choose what Mix makes besides the master.
type MixOptions struct {
	Stems bool // a file for each take and each section
}

// Mix makes the sound alone: out/master.wav, a picture of the levels, and
// stems when they are asked for.
func (p *Production) Mix(ctx context.Context, o MixOptions) (MixResult, error) {
	r := MixResult{Strips: []MixStrip{}}
	path, err := p.outFile(masterWAV)
	if err != nil {
		return r, err
	}
	if err := p.outFiles(levelsName); err != nil {
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
	track, err := p.soundTrack(pl, all)
	if err != nil {
		return r, err
	}
	var stems []stem
	if o.Stems {
		stems = p.stems(track, pl.Timeline)
	}
	tasks := track.tasks
	for _, s := range stems {
		tasks = append(tasks, s.task)
	}
	res, err := p.run(ctx, tasks)
	if err != nil {
		return r, err
	}
	r.Tasks = TaskCount{Run: res.Stats.Run, Reused: res.Stats.Reused}
	out := res.Of(track.final.ID)
	if out.Path == "" {
		return r, firstFailure(res)
	}
	rep, err := load[soundReport](filepath.Join(out.Path, reportFile))
	if err != nil {
		return r, err
	}
	err = store.Publish(ctx, path, func(tmp string) error { return store.Copy(ctx, filepath.Join(out.Path, masterWAV), tmp) })
	if err != nil {
		return r, err
	}
	r.fill(path, pl, rep, p.man.Mix.AutoBalance)
	r.target(p.man.Mix)
	if o.Stems {
		if err := p.deliverStems(ctx, stems, res, &r); err != nil {
			return r, err
		}
	}
	p.trim(ctx)
	return r, p.drawLevels(ctx, pl, rep, &r)
}

// firstFailure is the first error of a run whose result is missing.
func firstFailure(res task.Result) error {
	for _, o := range res.Outcomes {
		if o.State == task.Failed {
			return o.Err
		}
	}
	return errors.New("the run ended without a result and without an error")
}
