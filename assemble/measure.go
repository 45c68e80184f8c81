package assemble

import (
	"context"
	"errors"
	"path/filepath"
	"slices"

	"ripieno/assemble/fault"
	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// Kinds of Bad.
const (
	kindMissing    = "missing"
	kindUnreadable = "unreadable"
	kindUnplaced   = "unplaced"
	kindShort      = "short"
	kindRejected   = "rejected"
	kindRelease    = "release"
)

// Estimated cost in seconds of one core for each second of a recording, from
// runs on a laptop; only their ratios matter.
const (
	costSound   = 0.004
	costAnalyse = 0.006
	costMatch   = 0.010
)

// located is a recording with its place on guide time.
type located struct {
	*recording
	place align.Placement
}

// usable tells whether the recording may go into the film.
func (l located) usable() bool { return l.err == nil && l.place.Sure }

// What the store keeps of a decoded sound: the sound, and what the decoder had
// to say of the file.
const (
	soundWAV     = "sound.wav"
	soundAccount = "account.gob"
)

// soundKey is the decoded sound of a file: 32-bit float at its own rate.
func (p *Production) soundKey(r *recording) store.Action {
	return store.NewAction("sound").Version(media.Rule).Arg("ffmpeg", p.tool.Version.Text).
		Arg("stream", r.info.Audio.Index).Input("file", r.hash).Files(soundWAV, soundAccount).For(r.file.Path)
}

func soundID(r *recording) string { return "sound/" + r.name() }

// soundOf is the file of a recording's decoded sound.
func soundOf(in task.Inputs, r *recording) string { return filepath.Join(in[soundID(r)], soundWAV) }

func analyseID(r *recording) string { return "analyse/" + r.name() }
func matchID(a, b *recording) string {
	return "match/" + a.name() + "\x00" + b.name()
}

// soundTask decodes a recording's sound once for everything that listens.
func (p *Production) soundTask(r *recording) task.Task {
	return task.Task{
		ID: soundID(r), Name: r.file.Path, Stage: "decode", Action: p.soundKey(r), Cost: costSound * r.info.Duration, Memory: memorySound,
		Make: func(ctx context.Context, _ task.Inputs, dir string, _ func(float64)) error {
			var d media.Decoded
			err := p.store.Steady(ctx, r.path, r.hash, func() (err error) {
				d, err = media.Decode(ctx, p.tool, r.info, filepath.Join(dir, soundWAV))
				return err
			})
			if err != nil {
				return err
			}
			return save(filepath.Join(dir, soundAccount), d)
		},
	}
}

// Sounds are decoded several at once up to a length from which the beginning
// of a process is nothing beside its work.
const (
	togetherSeconds = 600
	togetherMost    = 8
)

// soundTasks are the tasks that decode recordings, the short ones together.
func (p *Production) soundTasks(recs []*recording) []task.Task {
	byID := map[string]*recording{}
	batch := &task.Batch{Most: togetherMost, Make: func(ctx context.Context, members []task.Member) []error {
		sounds := make([]media.Sound, len(members))
		for i, m := range members {
			sounds[i] = media.Sound{Info: byID[m.ID].info, Dst: filepath.Join(m.Tmp, soundWAV)}
		}
		var decoded []media.Decoded
		var wrong []error
		err := p.steadyAll(ctx, members, byID, func() {
			decoded, wrong = media.DecodeAll(ctx, p.tool, sounds)
		})
		for i, m := range members {
			if err[i] != nil {
				wrong[i] = err[i]
			}
			if wrong[i] == nil {
				wrong[i] = save(filepath.Join(m.Tmp, soundAccount), decoded[i])
			}
		}
		return wrong
	}}
	tasks := make([]task.Task, len(recs))
	for i, r := range recs {
		tasks[i] = p.soundTask(r)
		if r.info.Duration <= togetherSeconds {
			byID[tasks[i].ID], tasks[i].Batch = r, batch
		}
	}
	return tasks
}

// featuresKey is what sync needs to know of a sound.
func (p *Production) featuresKey(r *recording) store.Action {
	return store.NewAction("features").Version(align.Version()).Input("sound", p.soundKey(r).ID()).Ext(".gob").For(r.file.Path)
}

func (p *Production) featuresTask(r *recording) task.Task {
	return listenTask(analyseID(r), "listen", p.featuresKey(r), r, costAnalyse, align.Analyse)
}

// listenTask keeps what measure finds in a recording's decoded sound. cost is
// that of a second of it.
func listenTask[T any](id, stage string, key store.Action, r *recording, cost float64, measure func(audio.Source) (T, error)) task.Task {
	return task.Task{
		ID: id, Name: r.file.Path, Stage: stage, Action: key, Keep: true, After: []string{soundID(r)}, Cost: cost * r.info.Duration,
		Make: func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			wav, err := media.OpenWAV(soundOf(in, r))
			if err != nil {
				return err
			}
			defer wav.Close()
			v, err := measure(wav)
			if err != nil {
				return err
			}
			return save(tmp, v)
		},
	}
}

// matchTask compares the two devices of one take.
func (p *Production) matchTask(a, b *recording) task.Task {
	key := store.NewAction("match").Version(align.Version()).
		Input("a", p.soundKey(a).ID()).Input("b", p.soundKey(b).ID()).Ext(".gob").For(b.file.Path)
	return task.Task{
		ID: matchID(a, b), Name: b.file.Path, Stage: "match", Action: key, Keep: true,
		After: []string{soundID(a), soundID(b)}, Cost: costMatch * (a.info.Duration + b.info.Duration),
		Make: func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			wa, err := media.OpenWAV(soundOf(in, a))
			if err != nil {
				return err
			}
			defer wa.Close()
			wb, err := media.OpenWAV(soundOf(in, b))
			if err != nil {
				return err
			}
			defer wb.Close()
			m, err := align.MatchDevices(wa, wb)
			if err != nil {
				return err
			}
			return save(tmp, m)
		},
	}
}

// hearing is what listening to the recordings gave and took.
type hearing struct {
	features map[string]*align.Features // by the recordings' names
	count    TaskCount
}

// locate measures every readable recording and places all of them together.
// What one file lacks is in its own err or place; the error is only for what
// stops everything.
func (p *Production) locate(ctx context.Context) ([]located, error) {
	all, _, err := p.listen(ctx)
	return all, err
}

// listen is locate for those who also want to know what was heard.
func (p *Production) listen(ctx context.Context) ([]located, hearing, error) {
	h := hearing{features: map[string]*align.Features{}}
	recs, err := p.recordings(ctx)
	if err != nil {
		return nil, h, err
	}
	if err := p.readLook(ctx); err != nil {
		return nil, h, err
	}
	p.inspectRoom(ctx)
	heard := slices.DeleteFunc(slices.Clone(recs), func(r *recording) bool { return r.err != nil || r.info.Audio == nil })
	tasks := p.soundTasks(heard)
	for _, r := range heard {
		tasks = append(tasks, p.featuresTask(r))
	}
	pairs := devices(recs)
	for _, pair := range pairs {
		tasks = append(tasks, p.matchTask(pair[0], pair[1]))
	}
	res, err := p.run(ctx, tasks)
	if err != nil {
		return nil, h, err
	}
	h.count = TaskCount(res.Stats)
	all, err := p.place(recs, pairs, res, h.features)
	if err != nil {
		return nil, h, err
	}
	if doubtful(all) {
		p.set.Report.Message("most recordings do not fit the tempo of the manifest: check count_in, meter, bpm and measures first")
	}
	if err := p.lookForPlayers(ctx, recs); err != nil {
		return nil, h, err
	}
	if err := p.matchLight(ctx, recs); err != nil {
		return nil, h, err
	}
	return all, h, p.writeSync(ctx, all)
}

// doubtful tells whether the manifest's tempo is the likelier culprit than the
// recordings: of three or more, most could not be placed.
func doubtful(all []located) bool {
	heard, unsure := 0, 0
	for _, l := range all {
		if l.err == nil && l.info.Audio != nil && l.file.Offset == nil && l.file.CueAt == nil {
			heard++
			if !l.place.Sure {
				unsure++
			}
		}
	}
	return heard >= 3 && 2*unsure > heard
}

// run runs tasks; failures of single ones are left in the result.
func (p *Production) run(ctx context.Context, tasks []task.Task) (task.Result, error) {
	runner := task.Runner{Store: p.store, Progress: p.set.Report, Workers: p.set.Workers, Memory: p.set.Memory, Verify: p.verify}
	res, err := runner.Run(ctx, tasks)
	p.noteDifferences(tasks, res)
	var failed task.Failures
	if errors.As(err, &failed) {
		for _, f := range failed {
			if stopsAll(f.Err) {
				return res, f.Err
			}
		}
		return res, nil
	}
	return res, err
}

// stopsAll tells a full disk or a missing program, which is nobody's take,
// from what is wrong with one file.
func stopsAll(err error) bool {
	var f *fault.Fault
	var exit *ffmpeg.ExitError
	if !errors.As(err, &f) {
		return false
	}
	return f.Kind == fault.Failed || f.Kind == fault.FFmpeg && !errors.As(err, &exit)
}

// devices are the pairs of recordings of one player whose sound can be
// compared.
func devices(recs []*recording) [][2]*recording {
	var pairs [][2]*recording
	for i, a := range recs {
		for _, b := range recs[i+1:] {
			if a.take == b.take && a.err == nil && b.err == nil && a.info.Audio != nil && b.info.Audio != nil {
				pairs = append(pairs, [2]*recording{a, b})
			}
		}
	}
	return pairs
}

// place decides where every recording lies and keeps what was heard of each in
// features.
func (p *Production) place(recs []*recording, pairs [][2]*recording, res task.Result, features map[string]*align.Features) ([]located, error) {
	var inputs []align.Recording
	for _, r := range recs {
		if r.err != nil {
			continue
		}
		t := p.man.Takes[r.take]
		in := align.Recording{
			Name: r.name(), Take: t.Name, Role: r.role,
			CueAt: r.file.CueAt, Offset: r.file.Offset, DriftPPM: r.file.DriftPPM,
			AsPlayed: t.Timing == manifest.AsPlayed,
		}
		if part := p.scorePart(t.Part); part != nil {
			in.Onsets = part.Seconds(p.man.Tempo)
		}
		if r.info.Audio != nil {
			out := res.Of(analyseID(r))
			if out.Path == "" {
				r.err = r.named(errors.Join(res.Of(soundID(r)).Err, out.Err))
				continue
			}
			f, err := load[*align.Features](out.Path)
			if err != nil {
				return nil, err
			}
			in.Features, features[in.Name] = f, f
		}
		inputs = append(inputs, in)
	}
	var matches []align.Pair
	for _, pair := range pairs {
		out := res.Of(matchID(pair[0], pair[1]))
		if out.Path == "" {
			continue
		}
		m, err := load[align.Match](out.Path)
		if err != nil {
			return nil, err
		}
		matches = append(matches, align.Pair{A: pair[0].name(), B: pair[1].name(), Match: m})
	}
	placed := p.placeAll(inputs, matches)
	all := make([]located, len(recs))
	for i, r := range recs {
		all[i] = located{recording: r, place: placed[r.name()]}
	}
	return all, nil
}
