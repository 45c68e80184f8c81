package takes

import (
	"context"
	"path/filepath"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/assemble/reading"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/audio"
)

// The types that are stored here, each with the number it has for ever; see
// [store.Number].
var (
	_ = store.Number(1, media.Info{})
	_ = store.Number(2, formerFeatures{})
	_ = store.Number(3, align.Match{})
	_ = store.Number(12, media.Decoded{})
	_ = store.Number(15, &align.Features{})
)

// formerFeatures holds the place that align.Features had up to version 9 of its
// measurement, with as many types in it. It has more since, which in the old
// place would have moved all types behind it, and with them the bytes of values
// that earlier programs stored.
type (
	formerFeatures struct{ Events []formerEvent }
	formerEvent    struct{ Time float64 }
)

// Estimated cost in seconds of one core for each second of a recording, from
// runs on a laptop; only their ratios matter.
const (
	costSound   = 0.004
	costAnalyse = 0.006
	costMatch   = 0.010
)

// What the store keeps of a decoded sound: 32-bit float samples at the file's
// own rate, and what the decoder had to say of the file.
const (
	soundWAV     = "sound.wav"
	soundAccount = "account.gob"
)

// decodeTask plans the decoding of a recording's sound, once for everything that
// listens. batch, when not nil, may decode several together.
func (r *Recording) decodeTask(tool *ffmpeg.Tool, steady reading.Steady, batch *task.Batch) {
	work := fileWork{Info: r.Info}
	t := task.Task{
		Errand: work.errand(RuleSound, r),
		ID:     task.ID("sound", r.Name()), Name: r.File.Path, Stage: "decode", Cost: costSound * r.Info.Duration,
		Batch:  batch,
		Bytes:  int64(4 * float64(r.Info.Audio.Rate*r.Info.Audio.Channels) * r.Info.Duration),
		Memory: reading.SoundMemory,
		Action: store.NewAction("sound").Version(media.Rule).Arg("ffmpeg", tool.Version.Text).
			Arg("stream", r.Info.Audio.Index).Input("file", r.Hash).Files(soundWAV, soundAccount).For(r.File.Path),
		Make: func(ctx context.Context, _ task.Inputs, dir string, _ func(float64)) error {
			return r.steady(ctx, steady, func(ctx context.Context) error { return work.sound(ctx, tool, dir) })
		},
	}
	r.refs.decoded = task.File(t, soundWAV)
	r.Sound = r.refs.decoded
	r.refs.account = task.Of(t, task.In(soundAccount, store.Load[media.Decoded]))
}

// decodeSound writes a file's sound and the decoder's account into dir.
func decodeSound(ctx context.Context, tool *ffmpeg.Tool, info media.Info, dir string) error {
	d, err := media.Decode(ctx, tool, info, filepath.Join(dir, soundWAV))
	if err != nil {
		return err
	}
	return store.Save(filepath.Join(dir, soundAccount), d)
}

// Sounds are decoded several at once up to a length from which the beginning
// of a process is nothing beside its work.
const togetherSeconds = 600

// decodeBatch decodes several sounds with one process. recs, which it reads when
// it runs, are the recordings by the IDs of their tasks.
func decodeBatch(tool *ffmpeg.Tool, steady reading.Steady, recs map[string]*Recording) *task.Batch {
	return &task.Batch{Most: media.Together, Make: func(ctx context.Context, members []task.Member) []error {
		sounds := make([]media.Sound, len(members))
		for i, m := range members {
			sounds[i] = media.Sound{Info: recs[m.ID].Info, Dst: filepath.Join(m.Tmp, soundWAV)}
		}
		var decoded []media.Decoded
		var wrong []error
		changed := steadyAll(ctx, steady, members, recs, func(ctx context.Context) {
			decoded, wrong = media.DecodeAll(ctx, tool, sounds)
		})
		for i, m := range members {
			if changed[i] != nil {
				wrong[i] = changed[i]
			}
			if wrong[i] == nil {
				wrong[i] = store.Save(filepath.Join(m.Tmp, soundAccount), decoded[i])
			}
		}
		return wrong
	}}
}

// listenTasks plans what is measured of every sound before takes are placed:
// the sound itself, the short ones together, what sync has to know of it, and
// how the two devices of a player go together.
func (s *Set) listenTasks(tool *ffmpeg.Tool, steady reading.Steady) {
	recs := map[string]*Recording{}
	small, large := decodeBatch(tool, steady, recs), decodeBatch(tool, steady, recs)
	for _, r := range s.Recordings() {
		if !r.HasSound() {
			continue
		}
		switch {
		case r.Info.Duration > togetherSeconds:
			r.decodeTask(tool, steady, nil)
		case r.Info.IsSmall():
			r.decodeTask(tool, steady, small)
		default:
			r.decodeTask(tool, steady, large)
		}
		recs[r.Sound.Task().ID] = r
		r.mend(r.File.Parts, r.File.SampleRate)
	}
	s.matchTasks()
}

// featuresTask listens for what sync needs to know of a sound.
func featuresTask(r *Recording) task.Ref[*align.Features] {
	t := task.Task{
		ID: task.ID("analyse", r.Name()), Stage: "listen", Cost: costAnalyse,
		Action: store.NewAction("features").Version(align.Version()),
		Errand: &task.Errand{Rule: RuleFeatures, Args: struct{}{},
			Inputs: []task.ErrandInput{{Ext: ".wav", Edge: r.Sound, Find: r.Sound.Read}}},
	}
	return listenTask(t, r, align.Analyse)
}

// listenTask completes a task that keeps what measure finds in a recording's
// decoded sound. Its cost so far is that of a second of it.
func listenTask[T any](t task.Task, r *Recording, measure func(audio.Source) (T, error)) task.Ref[T] {
	t.Name, t.Keep, t.Cost = r.File.Path, true, t.Cost*r.Info.Duration
	t.Needs("sound", r.Sound)
	t.Action = t.Action.Ext(".gob").For(r.File.Path)
	t.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		path, err := r.Sound.Read(in)
		if err != nil {
			return err
		}
		return measureSound(path, tmp, measure)
	}
	return task.Value[T](t)
}

// measureSound stores what measure finds in a sound.
func measureSound[T any](sound, tmp string, measure func(audio.Source) (T, error)) error {
	wav, err := media.OpenWAV(sound)
	if err != nil {
		return err
	}
	defer wav.Close()
	v, err := measure(wav)
	if err != nil {
		return err
	}
	return store.Save(tmp, v)
}

// matchTasks plans the comparing of the two devices of every player who has two, with
// the sounds as they are now.
func (s *Set) matchTasks() {
	for _, t := range s.Takes {
		if v, a := t.Video, t.Audio; v != nil && a != nil && v.HasSound() && a.HasSound() {
			a.refs.match = matchTask(v, a)
		}
	}
}

// matchTask compares the two devices of one take.
func matchTask(a, b *Recording) task.Ref[align.Match] {
	return compareTask("match", a, b, costMatch, align.MatchDevices)
}

// compareTask compares the sounds of the two devices of one take; cost is that of a
// second of each.
func compareTask[T any](name string, a, b *Recording, cost float64,
	compare func(a, b audio.Source) (T, error),
) task.Ref[T] {
	t := task.Task{
		ID: task.ID(name, a.Name(), b.Name()), Name: b.File.Path, Stage: "match", Keep: true,
		Action: store.NewAction(name).Version(align.Version()).Arg("match", align.MatchVersion),
		Cost:   cost * (a.Info.Duration + b.Info.Duration),
	}
	t.Needs("a", a.Sound)
	t.Needs("b", b.Sound)
	t.Action = t.Action.Ext(".gob").For(b.File.Path)
	t.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		one, err := a.Sound.Read(in)
		if err != nil {
			return err
		}
		other, err := b.Sound.Read(in)
		if err != nil {
			return err
		}
		return measureBoth(one, other, tmp, compare)
	}
	return task.Value[T](t)
}

// measureBoth stores what compare finds out about two sounds.
func measureBoth[T any](one, other, tmp string, compare func(a, b audio.Source) (T, error)) error {
	found, err := openBoth(one, other, compare)
	if err != nil {
		return err
	}
	return store.Save(tmp, found)
}
