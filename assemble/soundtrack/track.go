// Package soundtrack turns the mix of a plan into tasks: every strip is measured
// and becomes a voice, voices become the sum, the sum is mastered and encoded;
// stems are made of the same voices. A change of gain or place begins at the sum.
//
// [New] plans, a task runner makes, [Report] says what became of it. The package
// decides nothing that the plan could: it knows neither the manifest nor where a
// recording came from.
package soundtrack

import (
	"context"
	"errors"
	"path/filepath"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/blend"
	"ripieno/mix/decay"
	"ripieno/mix/mask"
	"ripieno/mix/room"
	"ripieno/mix/tone"
)

// rule is the version of everything the mix packages compute. Raise it when a
// sample changes.
const rule = 3

// Files of the sound in the store.
const (
	sumWAV     = "sum.wav"
	masterWAV  = "master.wav"
	filmM4A    = "film.m4a"
	reportFile = "report.gob"
)

// Estimated cost in seconds of one core for each second of sound.
const (
	costLevel  = 0.003
	costVoice  = 0.008
	costSum    = 0.001
	costMaster = 0.06
)

// sampleBytes is the size of a stored sample.
const sampleBytes = 4

// Report is kept beside the sum and, with more in it, beside the finished sound.
type Report = soundReport

// soundReport is a Report. What is stored bears this name, so it stays.
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

// The types that are stored here, each with the number it has for ever; see
// [store.Number].
var (
	_ = store.Number(4, mix.Analysis{})
	_ = store.Number(5, soundReport{})
	_ = store.Number(8, voiceInfo{})
	_ = store.Number(40, mix.Heard{})
)

// Sound is the decoded sound of a recording.
type Sound struct {
	Samples task.Ref[string] // the path of its samples, at its own rate
	Name    string           // unique among the sounds of a production
	File    string           // as people know it
	Seconds float64
	// Beside is the sound of the player's phone, when this is that of their microphone; nil
	// for none.
	Beside *task.Ref[string]
}

// Room is a recorded room.
type Room struct {
	Sound Sound
	// Fault returns what people read about a recording that is no room.
	Fault func(error) error
}

// Track is the mix of one plan: the tasks that make it.
type Track struct {
	// Sum is the file with all strips added up, before mastering.
	Sum task.Ref[string]
	// Master is the file with the mastered sound, Film that with the sound of
	// films, and Report what became of the mix. One task makes them.
	Master, Film task.Ref[string]
	Report       task.Ref[Report]

	bus
	parts  []part
	added  task.Ref[Report]      // of the sum
	phones task.Ref[tone.Phones] // zero: they are the usual ones
	order  []string              // takes in the order of roles
}

// bus is what strips are added up on.
type bus struct {
	tool    *ffmpeg.Tool
	workers int
	title   string
	mix     plan.Mix
	line    plan.Timeline
	room    *Room                   // nil: none is recorded, or none is wanted
	blend   task.Ref[[]blend.Blend] // zero: strips are not moved by register and role
}

// part is one strip with the tasks that make its voice.
type part struct {
	plan.Strip
	sound Sound
	level task.Ref[mix.Analysis]
	heard task.Ref[mix.Heard]
	voice task.Ref[string] // the folder with the voice and what it measures
	bands task.Ref[*mask.Levels]
	room  task.Ref[decay.Room]
	at    int // its place among the strips
}

// New plans the mix. sounds are those of the strips, in their order; recorded
// is the recorded room, nil for none; who plays what is asked under balance of an ensemble alone.
// Nothing is read or made yet. What only some
// mixes need, bands and rooms for example, becomes a task that is run when somebody
// asks for it.
func New(tool *ffmpeg.Tool, workers int, pl *plan.Plan, sounds []Sound, recorded *Room,
	who Casting) *Track {
	t := &Track{bus: bus{tool: tool, workers: workers, title: pl.Title, mix: pl.Mix, line: pl.Timeline}}
	if pl.Mix.Room > 0 {
		t.room = recorded
	}
	var levels []task.Ref[mix.Analysis]
	var heard []task.Ref[mix.Heard]
	for i, s := range pl.Strips {
		levels = append(levels, levelTask(sounds[i], s))
		heard = append(heard, heardTask(sounds[i], s, levels[i]))
	}
	t.phones = phonesTask(pl, sounds, heard)
	for i, s := range pl.Strips {
		voice := voiceTask(sounds[i], s, levels[i], heard[i], t.phones, len(pl.Strips) >= groupedFrom)
		bands := bandsTask(sounds[i], s.Take, voice, pl.Timeline.Duration())
		clap := roomTask(sounds[i], s, pl.Tempo.Cue(), levels[i])
		t.parts = append(t.parts, part{s, sounds[i], levels[i], heard[i], voice, bands, clap, i})
	}
	t.blends(pl, who)
	sum := t.sumTasks(groupedFrom, groupSize)
	t.added = task.Of(sum, task.In(reportFile, store.Load[soundReport]))
	master := t.masterTask(task.Path(sum))
	t.Sum, t.Master, t.Film = task.File(sum, sumWAV), task.File(master, masterWAV), task.File(master, filmM4A)
	t.Report = task.Of(master, task.In(reportFile, store.Load[soundReport]))
	return t
}

// begin starts the description of anything that strips are added up to. Everything in
// it changes all stems, the sum and the master alike. It does not name the tool:
// nothing of ffmpeg is in a sum.
func (b bus) begin(name string) task.Task {
	m := b.mix
	t := task.Task{Action: store.NewAction(name).Version(rule).Arg("start", b.line.AudioStart).Arg("length",
		b.line.AudioLen).
		Arg("room", m.Room).Arg("balance", m.Balance).Arg("fades", []float64{m.FadeIn, m.FadeOut})}
	if m.Room > 0 {
		t.Action = t.Action.Arg("hall", m.Hall)
		if b.room != nil {
			t.Needs("impulse", b.room.Sound.Samples)
		}
	}
	if !b.blend.IsZero() {
		t.Needs("blend", b.blend)
	}
	return t
}

// add states what a strip contributes to t. Another input here makes every mix anew;
// one that only some strips need is added for those alone, as with cleaning.
func (p part) add(t *task.Task) {
	s := p.Strip
	t.Action = t.Action.Arg("gain", s.Gain).Arg("section", s.Group).Arg("pan", s.Pan).Arg("law", s.Law).Arg("width",
		s.Width).
		Arg("send", s.Send).Arg("dry", s.Dry).Arg("lifts", s.Lifts)
	t.Reads(p.level)
	if p.Clean.Any() {
		t.Action = t.Action.Arg("covered", covered)
		t.Reads(p.heard)
	}
	t.Needs("voice", p.voice)
}

// sumTask adds strips up under a name of its own.
func (t *Track) sumTask(name, id string, parts []part) task.Task {
	s := t.begin(name)
	for _, p := range parts {
		p.add(&s)
	}
	s.ID, s.Name, s.Stage, s.Action = id, "all strips", "mix", s.Action.Files(sumWAV, reportFile)
	s.Bytes = 2 * sampleBytes * int64(t.line.AudioLen)
	s.Cost = 0.1 + costSum*t.line.Duration()*float64(len(parts))
	s.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		return t.addUp(ctx, in, parts, tmp)
	}
	return s
}

// addUp adds strips up into a file of float samples.
func (t *Track) addUp(ctx context.Context, in task.Inputs, parts []part, dir string) error {
	var rep soundReport
	o, err := t.options(in)
	if err != nil {
		return err
	}
	strips := make([]mix.Strip, len(parts))
	for i, p := range parts {
		var a mix.Analysis
		var v voiceInfo
		if strips[i], a, v, err = t.strip(p, in); err != nil {
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
	return store.Save(filepath.Join(dir, reportFile), rep)
}

// options returns the bus of a mix. The bytes do not depend on Workers.
func (b bus) options(in task.Inputs) (mix.Options, error) {
	m := b.mix
	o := mix.Options{
		Start: b.line.AudioStart, Length: b.line.AudioLen, Room: m.Room, Workers: b.workers,
		Hall:   room.Hall{Decay: m.Hall.Decay, High: m.Hall.High, PreDelay: m.Hall.PreDelay, Size: m.Hall.Size},
		FadeIn: audio.FramesAt(m.FadeIn), FadeOut: audio.FramesAt(m.FadeOut),
	}
	if o.Hall.PreDelay == 0 {
		o.Hall.PreDelay = -1 // none: its zero is a default
	}
	if b.room == nil {
		return o, nil
	}
	path, err := b.room.Sound.Samples.Read(in)
	if err != nil {
		return o, err
	}
	wav, err := media.OpenWAV(path)
	if err != nil {
		return o, err
	}
	defer wav.Close()
	o.Impulse, err = room.NewImpulse(wav)
	if err != nil {
		return o, b.room.Fault(err)
	}
	return o, nil
}

// writeSum writes and measures a programme that is still to be mastered, and
// closes it.
func writeSum(ctx context.Context, src audio.Source, path string) (mix.Measured, error) {
	metered := mix.NewMetered(audio.NewAhead(src))
	_, err := media.CreateWAV(ctx, path, metered, media.Float32)
	err = errors.Join(err, metered.Close())
	return metered.Measured(), err
}
