package takes

import (
	"context"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/intake"
	"ripieno/assemble/media"
	"ripieno/assemble/production"
	"ripieno/assemble/reading"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix/align"
	"ripieno/mix/playing"
	"ripieno/mix/tempo"
)

// Estimated cost in seconds of one core for each second of a recording.
const (
	costHear = 0.01
	costSee  = 0.02
	costPace = 0.001 // where the tempo changes; next to nothing elsewhere
)

// heardSound is what is kept of a recording's sound: the decoder's account
// beside what was heard, so that the sound itself may leave the store.
type heardSound struct {
	Sound   intake.Sound
	Decoded media.Decoded
}

// The types that are stored of a check, each with the number it has for ever.
var (
	_ = store.Number(6, intake.Sound{})
	_ = store.Number(13, heardSound{})
	_ = store.Number(14, playing.Pace{})
)

// checks are the tasks that measure one recording for its check; zero for what
// there is nothing of.
type checks struct {
	hear task.Ref[heardSound]
	pace task.Ref[playing.Pace]
	see  task.Ref[intake.Picture]
}

// Checks plans what is measured of every recording to say what is wrong with it.
// [Checks.Edges] are run, and [Checks.Judge] reads what they measured.
type Checks struct {
	set *Set
	man *production.Production
	of  map[*Recording]checks
}

// Checks returns the measurements of a check. The takes are located.
func (s *Set) Checks(tool *ffmpeg.Tool, steady reading.Steady, man *production.Production) *Checks {
	c := &Checks{set: s, man: man, of: map[*Recording]checks{}}
	see := newSeeing(tool, steady)
	for _, t := range s.Takes {
		for _, r := range t.Recordings() {
			if r.Err != nil {
				continue
			}
			var x checks
			if r.Info.Audio != nil {
				x.hear = hearTask(r)
				if !r.isSettled() {
					m, _ := guideOf(man, t.Guide)
					x.pace = paceTask(r, m)
				}
			}
			if r.HasPicture() {
				x.see = see.task(r)
			}
			c.of[r] = x
		}
	}
	return c
}

// Edges returns the tasks to run before anything can be judged.
func (c *Checks) Edges() []task.Edge {
	var list []task.Edge
	for _, r := range c.set.Recordings() {
		x := c.of[r]
		if !x.hear.IsZero() {
			list = append(list, x.hear)
		}
		if !x.pace.IsZero() {
			list = append(list, x.pace)
		}
		if !x.see.IsZero() {
			list = append(list, x.see)
		}
	}
	return list
}

// isSettled reports whether a recording's place leaves no doubt that it is this
// piece at the guide's tempo: its playing fits there, or another file of the
// same take does, or the manifest says where it lies, which beats what a machine
// hears. A clap alone may begin anything.
func (r *Recording) isSettled() bool {
	return r.Place.Sure && r.Place.Method != align.ByCue
}

// hearTask measures a recording's sound. The task keeps an account of decoding in its
// own result, so that check can tell of damage when the decoded sound has left the
// store.
func hearTask(r *Recording) task.Ref[heardSound] {
	t := task.Task{
		ID: task.ID("hear", r.Name()), Name: r.File.Path, Stage: "hear", Keep: true, Cost: costHear * r.Info.Duration,
		Action: store.NewAction("hear").Version(intake.Rule),
	}
	t.Needs("sound", r.refs.decoded)
	t.Action = t.Action.Ext(".gob").For(r.File.Path)
	t.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		account, err := r.refs.account.Read(in)
		if err != nil {
			return err
		}
		sound, err := r.refs.decoded.Read(in)
		if err != nil {
			return err
		}
		return hearSound(sound, account, tmp)
	}
	return task.Value[heardSound](t)
}

// hearSound stores what is heard in a sound, beside the decoder's account of it.
func hearSound(sound string, account media.Decoded, tmp string) error {
	wav, err := media.OpenWAV(sound)
	if err != nil {
		return err
	}
	defer wav.Close()
	heard, err := intake.Listen(wav)
	if err != nil {
		return err
	}
	return store.Save(tmp, heardSound{Sound: heard, Decoded: account})
}

// paceTask measures at what tempo a recording was played, which should be m's.
func paceTask(r *Recording, m *tempo.Map) task.Ref[playing.Pace] {
	t := task.Task{
		ID: task.ID("pace", r.Name()), Name: r.File.Path, Stage: "pace", Keep: true, Cost: costPace * r.Info.Duration,
		Action: store.NewAction("pace").Version(playing.PaceVersion).Arg("tempo", m.Spec()),
	}
	t.Needs("features", r.refs.features)
	t.Action = t.Action.Ext(".gob").For(r.File.Path)
	t.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		f, err := r.refs.features.Read(in)
		if err != nil {
			return err
		}
		return hearPace(ctx, m, f, tmp)
	}
	return task.Value[playing.Pace](t)
}

// hearPace stores at what tempo the notes of a recording were played.
func hearPace(ctx context.Context, m *tempo.Map, f *align.Features, tmp string) error {
	pace, err := playing.HearPace(ctx, m, f)
	if err != nil {
		return err
	}
	return store.Save(tmp, pace)
}
