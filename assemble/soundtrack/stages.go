package soundtrack

import (
	"context"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"slices"
	"strings"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/loudness"
	"ripieno/mix/tempo"
	"ripieno/mix/tone"
)

// StagesFolder is where the sound of every stage goes, beside the master.
const StagesFolder = "stages"

// stageStep is one step of the way from the recordings to the master.
type stageStep struct {
	name   string
	level  bool // the levels are those of the mix, not those of the recordings
	clean  plan.Cleaning
	master bool
}

// everything is all that is done to takes by themselves.
var everything = plan.Cleaning{Tops: true, Silence: true, Noise: true, Tone: true, Hum: true, Rumble: true,
	Uncut: true}

// stageSteps are the steps in their order; each does what the one before it does, and
// one thing more.
var stageSteps = []stageStep{
	{name: "recorded"},
	{name: "balance", level: true},
	{name: "tops", level: true, clean: plan.Cleaning{Tops: true}},
	{name: "silence", level: true, clean: plan.Cleaning{Tops: true, Silence: true}},
	{name: "noise", level: true, clean: plan.Cleaning{Tops: true, Silence: true, Noise: true, Hum: true, Rumble: true,
		Uncut: true}},
	{name: "tone", level: true, clean: everything},
	{name: "master", level: true, clean: everything, master: true},
}

// How much of the film is written, and how much of it lies before the first measure, where
// the silence is heard.
const stageSeconds, stageBefore = 20.0, 4.0

// Stage is the mix after one step, 20 seconds of it, as loud as those of all
// other steps: the file before it is what the step began with.
type Stage struct {
	Stem
	Step string
}

// Stages plans the sound after every step. music tells where measure 1 is.
func (t *Track) Stages(music *tempo.Map) []Stage {
	length := min(t.line.AudioLen, audio.FramesAt(stageSeconds))
	from := audio.FramesAt(music.Start() - stageBefore)
	from = max(min(from, t.line.AudioStart+t.line.AudioLen-length), t.line.AudioStart)
	window := mix.Span{From: from, To: from + length}
	var list []Stage
	for i, step := range stageSteps {
		file := filepath.Join(StagesFolder, fmt.Sprintf("%d-%s.wav", i+1, step.name))
		list = append(list, Stage{Stem{Made: t.stageTask(step, window), File: file}, step.name})
	}
	return list
}

// stageTask mixes the window as far as a step. Its key has the treatment of every
// strip instead of the voices: they are computed here, for the window alone.
func (t *Track) stageTask(step stageStep, window mix.Span) task.Ref[string] {
	s, tones := t.begin("stage"), false
	for _, p := range t.parts {
		p.add(&s)
		if step.of(p.Clean).Tone && !t.phones.IsZero() {
			tones = true
		}
		s.Action = s.Action.Arg("clean", step.of(p.Clean)).Arg("treat", p.Treat).Arg("clock", p.Sound.Clock)
		s.Needs("samples", p.sound.Samples)
		if step.of(p.Clean).Any() {
			s.Action = s.Action.Arg("cleaning", cleanRule)
			s.Needs("heard", p.heard)
		}
	}
	s.Needs("report", t.Report)
	if tones {
		s.Needs("phones", t.phones)
	}
	s.Action = s.Action.Arg("step", step.name).Arg("window", window).Arg("loudness", t.mix.Loudness).
		Arg("peak", t.mix.TruePeak).Ext(".wav").For(step.name)
	s.ID, s.Name, s.Stage = task.ID("stage", step.name), step.name, "stages"
	s.Cost = 0.1 + 2*costVoice*stageSeconds*float64(len(t.parts))
	s.Make = func(ctx context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		return t.mixStage(ctx, step, window, in, tmp)
	}
	return task.Path(s)
}

// of returns what of a take's cleaning belongs to the step.
func (s stageStep) of(c plan.Cleaning) plan.Cleaning {
	return plan.Cleaning{Silence: c.Silence && s.clean.Silence, Noise: c.Noise && s.clean.Noise,
		Tone: c.Tone && s.clean.Tone, Hum: c.Hum && s.clean.Hum, Tops: c.Tops && s.clean.Tops,
		Rumble: c.Rumble && s.clean.Rumble, Uncut: c.Uncut && s.clean.Uncut, Piece: c.Piece}
}

// mixStage writes the window as far as a step, at the loudness of the film.
func (t *Track) mixStage(ctx context.Context, step stageStep, window mix.Span, in task.Inputs, tmp string) error {
	rep, err := t.Report.Read(in)
	if err != nil {
		return err
	}
	o, err := t.options(in)
	if err != nil {
		return err
	}
	o.Start, o.Length, o.FadeIn, o.FadeOut = window.From, window.To-window.From, 0, 0
	strips := make([]mix.Strip, len(t.parts))
	for i, p := range t.parts {
		if strips[i], err = p.untilStep(step, in, t.phones); err != nil {
			return err
		}
		more, err := t.blendOf(p, in)
		if err != nil {
			return err
		}
		if strips[i].Gain = rep.Gains[i]; step.level {
			strips[i].Rides = slices.Concat(strips[i].Rides, rides(more.Moves))
		} else {
			strips[i].Gain = p.Gain + p.Group
		}
	}
	open := func() (audio.Source, error) { return mix.PreMaster(strips, o) }
	about := describe(media.Float32, "mix as far as "+step.name, window.From)
	if step.master {
		src, _, err := mix.Master(open, loudness.LUFS(t.mix.Loudness), audio.Decibels(t.mix.TruePeak))
		if err != nil {
			return err
		}
		return writeStem(ctx, tmp, &afterSilence{Source: src}, about)
	}
	loud, err := loudnessOf(open)
	if err != nil {
		return err
	}
	// Silence stays as it is. All strips are raised alike, so that the balance is
	// that of the step.
	if by := audio.Decibels(t.mix.Loudness) - audio.Decibels(loud); !math.IsInf(float64(by), 0) {
		for i := range strips {
			strips[i].Gain = min(strips[i].Gain+by, 100)
		}
	}
	src, err := open()
	if err != nil {
		return err
	}
	return writeStem(ctx, tmp, &afterSilence{Source: src}, about)
}

// untilStep returns the part's strip from its recording, in its place, treated as
// the manifest says and cleaned as far as a step.
func (p part) untilStep(step stageStep, in task.Inputs, phones task.Ref[tone.Phones]) (mix.Strip, error) {
	samples, err := p.sound.Samples.Read(in)
	if err != nil {
		return mix.Strip{}, err
	}
	a, err := p.level.Read(in)
	if err != nil {
		return mix.Strip{}, err
	}
	s, h, clean := placeRecording(p.Strip, samples), mix.Heard{}, step.of(p.Clean)
	if clean.Any() {
		if h, err = p.heard.Read(in); err != nil {
			return s, err
		}
	}
	if clean.Hum {
		s.Hum = h.Hum
	}
	if s, err = applyTreatment(s, p.Treat, a); err != nil {
		return s, err
	}
	if clean.Any() {
		usual := tone.Usual
		if clean.Tone {
			if usual, err = readPhones(phones, in); err != nil {
				return s, err
			}
		}
		s = applyCleaning(s, clean, h, usual)
	}
	s.Rides, s.Pan, s.Law, s.Narrow, s.Send = p.Lifts, p.Pan/100, p.Law, 1-p.Width, p.Send
	if p.Dry {
		s.Send = audio.Decibels(math.Inf(-1))
	}
	return s, nil
}

// loudnessOf reads a programme to its end and returns its loudness. open must give
// the same programme each time.
func loudnessOf(open func() (audio.Source, error)) (loudness.LUFS, error) {
	src, err := open()
	if err != nil {
		return 0, err
	}
	m := mix.NewLoudness(src)
	in := audio.NewBlock(2, 4096)
	for {
		n, err := m.Read(in)
		if err == io.EOF || err == nil && n == 0 {
			return m.Measured().Integrated, m.Close()
		}
		if err != nil {
			return 0, errors.Join(err, m.Close())
		}
	}
}

// IsStage reports whether a path, with slashes and relative to the folder of
// stages, can be one's.
func IsStage(file string) bool {
	return !strings.Contains(file, "/") && strings.HasSuffix(file, ".wav")
}
