package assemble

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"

	"ripieno/assemble/fault"
	"ripieno/assemble/graph"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/loudness"
	"ripieno/mix/pan"
)

// mixRule is the version of everything the mix packages compute. Raise it when
// a sample changes.
const mixRule = 1

// Files of the finished sound.
const (
	masterWAV  = "master.wav"
	filmM4A    = "film.m4a"
	reportFile = "report.gob"
)

// Estimated cost in seconds of one core for each second of sound.
const (
	costStrip  = 0.012
	costMaster = 0.08
)

// soundReport is kept beside the finished sound.
type soundReport struct {
	Master mix.MasterReport
	AAC    mix.Measured // of the encoded sound, decoded again
	Gains  []audio.Decibels
	Pans   []float64 // −100 to 100
	Strips []mix.Analysis
}

// soundTrack is the mix of one plan: the tasks that make it and where its
// parts are.
type soundTrack struct {
	tasks  []task.Task
	final  task.Task
	strips []plan.Strip
}

// soundTrack plans the mix.
func (p *Production) soundTrack(pl *plan.Plan, all []located) (*soundTrack, error) {
	t := &soundTrack{strips: pl.Strips}
	key := store.NewAction("sum").Version(mixRule).Arg("start", pl.Timeline.AudioStart).Arg("length", pl.Timeline.AudioLen).
		Arg("room", p.man.Mix.Room).Arg("balance", p.man.Mix.AutoBalance).Arg("sections", p.sectionGains())
	var after []string
	recs := make([]*recording, len(pl.Strips))
	seen := map[string]bool{}
	for i, s := range pl.Strips {
		if recs[i] = recordingOf(all, s); recs[i] == nil {
			return nil, fmt.Errorf("the sound of take %q has no recording", s.Take)
		}
		analysis := p.stripTask(recs[i], s)
		if !seen[analysis.ID] {
			seen[analysis.ID] = true
			t.tasks = append(t.tasks, p.soundTask(recs[i]), analysis)
			after = append(after, soundID(recs[i]), analysis.ID)
		}
		place := p.panOf(s)
		arg := s
		arg.Sound.Hash, arg.Pan = "", &place
		key = key.Arg("strip", arg).Input("sound", p.soundKey(recs[i]).ID())
	}
	key = key.Files("sum.wav", reportFile)
	sum := task.Task{
		ID: "sum", Name: "all strips", Stage: "mix", Action: key, After: after,
		Cost: 0.1 + costStrip*pl.Timeline.Duration()*float64(len(pl.Strips)), Cores: p.set.Workers,
		Make: func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			return p.sum(ctx, pl, recs, in, tmp)
		},
	}
	t.final = p.masterTask(sum, pl.Timeline)
	t.tasks = append(t.tasks, sum, t.final)
	return t, nil
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

// stripTask measures one strip for the balance: how loud it is while it may
// sound in the film, what its channels need, how much noise it has.
func (p *Production) stripTask(r *recording, s plan.Strip) task.Task {
	key := store.NewAction("level").Version(mixRule).Arg("clock", s.Sound.Clock).Arg("from", s.From).Arg("to", s.To).
		Input("sound", p.soundKey(r).ID()).Ext(".gob").For(r.file.Path)
	return task.Task{
		ID: levelID(r), Name: r.file.Path, Stage: "measure", Cost: costStrip * r.info.Duration, Action: key, After: []string{soundID(r)},
		Make: func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			a, err := mix.AnalyseStrip(newStrip(s, in[soundID(r)]), mix.Span{From: s.From, To: s.To})
			if err != nil {
				return err
			}
			return save(tmp, a)
		},
	}
}

func levelID(r *recording) string { return "level/" + r.name() }

// newStrip is a strip as recorded, in its place on guide time.
func newStrip(s plan.Strip, wav string) mix.Strip {
	return mix.Strip{
		Name: s.Take, Section: s.Section, Open: func() (audio.Source, error) { return media.OpenWAV(wav) },
		Offset: s.Sound.Clock.Offset, Drift: s.Sound.Clock.Drift, From: s.From, To: s.To, LowCut: mix.LowCutFor(s.Part),
	}
}

// autoSpread is how far automatic panning goes to either side, of 100: wide
// enough to tell players apart, narrow enough for one ear of headphones
// (common practice, no source).
const autoSpread = 55

// panOf is a strip's place: the manifest's, or spread evenly in the order of
// seats. Seats without a recording count, so that a late take moves nobody.
func (p *Production) panOf(s plan.Strip) float64 {
	if s.Pan != nil {
		return *s.Pan
	}
	places := pan.Spread(len(p.man.Takes), autoSpread/100.)
	for i, t := range p.man.Takes {
		if t.Name == s.Take {
			return 100 * places[i]
		}
	}
	return 0
}

func (p *Production) sectionGains() map[string]audio.Decibels {
	gains := map[string]audio.Decibels{}
	for _, s := range p.man.Sections {
		gains[s.Name] = audio.Decibels(s.GainDB)
	}
	return gains
}

// sum adds the strips up into a file of float samples.
func (p *Production) sum(ctx context.Context, pl *plan.Plan, recs []*recording, in task.Inputs, dir string) error {
	var rep soundReport
	strips := make([]mix.Strip, len(recs))
	for i, s := range pl.Strips {
		a, err := load[mix.Analysis](in[levelID(recs[i])])
		if err != nil {
			return err
		}
		rep.Strips = append(rep.Strips, a)
		rep.Pans = append(rep.Pans, p.panOf(s))
		strips[i] = newStrip(s, in[soundID(recs[i])])
		strips[i].Repair, strips[i].Pan = a.Repair, rep.Pans[i]/100
	}
	gains := make([]audio.Decibels, len(strips))
	if p.man.Mix.AutoBalance {
		gains = mix.Balance(strips, rep.Strips, p.sectionGains())
	} else {
		for i, s := range strips {
			gains[i] = p.sectionGains()[s.Section]
		}
	}
	for i := range strips {
		strips[i].Gain = gains[i] + pl.Strips[i].Gain
		rep.Gains = append(rep.Gains, strips[i].Gain)
	}
	src, err := mix.PreMaster(strips, mix.Options{
		Start: pl.Timeline.AudioStart, Length: pl.Timeline.AudioLen, Room: p.man.Mix.Room, Workers: p.set.Workers,
	})
	if err != nil {
		return err
	}
	if _, err := media.CreateWAV(ctx, filepath.Join(dir, "sum.wav"), src, media.Float32); err != nil {
		return err
	}
	return save(filepath.Join(dir, reportFile), rep)
}

// masterTask brings the sum to the loudness asked for and encodes it. The
// encoder overshoots, so the encoded sound is decoded and measured again, and
// the ceiling lowered until what people will hear keeps it.
func (p *Production) masterTask(sum task.Task, line plan.Timeline) task.Task {
	key := store.NewAction("master").Version(mixRule*1000+graph.Rule).Arg("ffmpeg", p.tool.Version.Text).
		Arg("loudness", p.man.Mix.LoudnessLUFS).Arg("true peak", p.man.Mix.TruePeakDB).
		Input("sum", sum.Action.ID()).Files(masterWAV, filmM4A, reportFile)
	return task.Task{
		ID: "master", Name: "master", Stage: "master", Action: key, After: []string{sum.ID}, Keep: true,
		Cost: 0.5 + costMaster*line.Duration(),
		Make: func(ctx context.Context, in task.Inputs, dir string, advance func(float64)) error {
			rep, err := load[soundReport](filepath.Join(in[sum.ID], reportFile))
			if err != nil {
				return err
			}
			if err := p.master(ctx, filepath.Join(in[sum.ID], "sum.wav"), dir, &rep, advance); err != nil {
				return err
			}
			return save(filepath.Join(dir, reportFile), rep)
		},
	}
}

// How the encoder's overshoot is met: the limiter's ceiling goes down by a
// little more than the excess a few times; where that does not help, because
// the encoder overshoots with whatever it is given, so does the level.
const (
	ceilingTries  = 4
	encodingTries = 8
)

func (p *Production) master(ctx context.Context, sum, dir string, rep *soundReport, advance func(float64)) error {
	open := func() (audio.Source, error) { return media.OpenWAV(sum) }
	target, ceiling := loudness.LUFS(p.man.Mix.LoudnessLUFS), audio.Decibels(p.man.Mix.TruePeakDB)
	want, inner := target, ceiling
	wav, m4a := filepath.Join(dir, masterWAV), filepath.Join(dir, filmM4A)
	for try := range encodingTries {
		src, report, err := mix.Master(open, want, inner)
		if err != nil {
			return err
		}
		rep.Master = report
		_, err = media.CreateWAV(ctx, wav, mix.Dither(src, 24, 1), media.PCM24)
		if c, ok := src.(io.Closer); ok {
			err = errors.Join(err, c.Close())
		}
		if err != nil {
			return err
		}
		if rep.AAC, err = p.encode(ctx, wav, m4a); err != nil {
			return err
		}
		advance(float64(try+1) / encodingTries)
		over := rep.AAC.TruePeak - ceiling
		if over <= 0 {
			if want < target && rep.Master.Reached {
				rep.Master.Reached = false
				rep.Master.Reason = fmt.Sprintf("the encoder overshoots on this sound, so it is %.1f LU softer", float64(target-want))
			}
			return nil
		}
		inner -= over + 0.1
		if try >= ceilingTries {
			want -= loudness.LUFS(over + 0.1)
		}
	}
	return fault.New(fault.Failed, "mix", fmt.Sprintf("the encoded sound peaks at %.1f dBTP over a ceiling of %.1f", rep.AAC.TruePeak, ceiling),
		"choose a lower loudness or a higher true_peak under mix")
}

// encode makes the AAC and measures what a listener's decoder will give.
func (p *Production) encode(ctx context.Context, wav, m4a string) (mix.Measured, error) {
	if err := os.Remove(m4a); err != nil && !errors.Is(err, os.ErrNotExist) {
		return mix.Measured{}, err
	}
	cmd, err := graph.AAC("file:"+wav, "file:"+m4a)
	if err != nil {
		return mix.Measured{}, err
	}
	if err := p.runCommand(ctx, cmd, m4a, 0, nil); err != nil {
		return mix.Measured{}, err
	}
	return p.measureFile(ctx, m4a)
}

// measureFile decodes and measures a stereo sound of our own.
func (p *Production) measureFile(ctx context.Context, path string) (mix.Measured, error) {
	decoded := path + ".wav"
	defer os.Remove(decoded)
	info := media.Info{Path: path, Audio: &media.Audio{Rate: audio.Rate, Channels: 2}}
	if err := media.DecodeAudio(ctx, p.tool, info, decoded); err != nil {
		return mix.Measured{}, err
	}
	src, err := media.OpenWAV(decoded)
	if err != nil {
		return mix.Measured{}, err
	}
	defer src.Close()
	return mix.Measure(src)
}

// Mix makes the sound alone: out/master.wav.
func (p *Production) Mix(ctx context.Context) (MixResult, error) {
	r := MixResult{Strips: []MixStrip{}}
	path, err := p.out(masterWAV)
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
	r.Faults = faults
	track, err := p.soundTrack(pl, all)
	if err != nil {
		return r, err
	}
	res, err := p.run(ctx, track.tasks)
	if err != nil {
		return r, err
	}
	out := res.Of(track.final.ID)
	if out.Path == "" {
		return r, firstFailure(res)
	}
	rep, err := load[soundReport](filepath.Join(out.Path, reportFile))
	if err != nil {
		return r, err
	}
	err = store.Publish(ctx, path, func(tmp string) error { return copyFile(filepath.Join(out.Path, masterWAV), tmp) })
	if err != nil {
		return r, err
	}
	r.fill(path, pl, rep)
	p.trim(ctx)
	return r, nil
}

func copyFile(from, to string) error {
	in, err := os.Open(from)
	if err != nil {
		return err
	}
	defer in.Close()
	out, err := os.OpenFile(to, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o666)
	if err != nil {
		return err
	}
	_, err = io.Copy(out, in)
	return errors.Join(err, out.Close())
}

// fill says what the mix became.
func (r *MixResult) fill(path string, pl *plan.Plan, rep soundReport) {
	after := rep.Master.After
	r.WAV, r.Duration = path, pl.Timeline.AudioLen.Seconds()
	r.Loudness, r.TruePeak = finite(float64(after.Integrated)), finite(float64(after.TruePeak))
	r.Range = finite(float64(after.Range))
	if !rep.Master.Reached && rep.Master.Reason != "" {
		r.Notes = append(r.Notes, "the loudness asked for was not reached: "+rep.Master.Reason)
	}
	for i, s := range pl.Strips {
		a := rep.Strips[i]
		strip := MixStrip{
			Take: s.Take, Gain: float64(rep.Gains[i]), Pan: rep.Pans[i], Loudness: finite(float64(a.Integrated)),
			DelaySamples: int64(audio.FramesAt(s.Sound.Clock.Offset)),
		}
		if a.Repair != mix.AsRecorded {
			strip.Notes = append(strip.Notes, a.Repair.String())
		}
		if a.Broken > 0 {
			strip.Notes = append(strip.Notes, fmt.Sprintf("%d broken samples silenced", a.Broken))
		}
		r.Strips = append(r.Strips, strip)
	}
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
