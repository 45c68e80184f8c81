package soundtrack

import (
	"context"
	"errors"
	"math"
	"path/filepath"
	"slices"

	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	kept "ripieno/assemble/soundtrack/kept"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/declip"
	"ripieno/mix/loudness"
	"ripieno/mix/tone"
)

// A voice is a strip before its level and place, kept in the store as samples
// on guide time.
const (
	voiceWAV  = "voice.wav"
	voiceFile = "voice.gob"
)

// voiceInfo is kept beside a voice.
type voiceInfo = kept.VoiceInfo

// placeRecording returns a strip as it was recorded, in its place on guide time.
func placeRecording(s plan.Strip, wav string) mix.Strip {
	return mix.Strip{
		Name: s.Take, Section: s.Section, Open: func() (audio.Source, error) { return media.OpenWAV(wav) },
		Offset: s.Sound.Clock.Offset, Drift: s.Sound.Clock.Drift, From: s.Treat.From, To: s.Treat.To,
		Delay: s.Treat.Delay,
	}
}

// readRecorded returns a strip as it was recorded, and what was measured of it.
func readRecorded(in task.Inputs, r Sound, s plan.Strip, level task.Ref[mix.Analysis]) (mix.Strip, mix.Analysis,
	error) {
	samples, err := r.Samples.Read(in)
	if err != nil {
		return mix.Strip{}, mix.Analysis{}, err
	}
	a, err := level.Read(in)
	return placeRecording(s, samples), a, err
}

// levelTask measures one recording while it may sound in the film: how loud it
// is, what its channels need, how much noise it has.
func levelTask(r Sound, s plan.Strip) task.Ref[mix.Analysis] {
	t := task.Task{
		ID: task.ID("level", r.Name), Name: r.File, Stage: "measure", Cost: costLevel * r.Seconds,
		Action: store.NewAction("level").Version(rule).Arg("clock", s.Sound.Clock).Arg("from",
			s.Treat.From).Arg("to", s.Treat.To).
			Arg("delay", s.Treat.Delay),
	}
	t.Needs("sound", r.Samples)
	t.Action = t.Action.Ext(".gob").For(r.File)
	t.Make = func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
		samples, err := r.Samples.Read(in)
		if err != nil {
			return err
		}
		return measureLevel(samples, s, tmp)
	}
	return task.Value[mix.Analysis](t)
}

// measureLevel stores what a recording measures.
func measureLevel(samples string, s plan.Strip, tmp string) error {
	a, err := mix.AnalyseStrip(placeRecording(s, samples), mix.Span{From: s.Treat.From, To: s.Treat.To})
	if err != nil {
		return err
	}
	return store.Save(tmp, a)
}

// voiceTask computes a voice and measures it. What is heard of the recording
// counts only where the take is cleaned. One that passes may leave the store when all that is
// made of it is there. It does not depend on gain, place or length of the film beyond
// the take's trims, so changing those computes no voice.
func voiceTask(r Sound, s plan.Strip, level task.Ref[mix.Analysis], heard task.Ref[mix.Heard],
	phones task.Ref[tone.Phones], passing bool) task.Ref[string] {
	t := task.Task{
		ID: task.ID("voice", r.Name), Name: r.File, Stage: "strip", Cost: costVoice * r.Seconds, Passing: passing,
		Bytes:  int64(sampleBytes * max(0, s.Treat.To-s.Treat.From) * audio.Frames(min(2, max(1, s.Sound.Channels)))),
		Action: store.NewAction("voice").Version(rule).Arg("clock", s.Sound.Clock).Arg("treat", s.Treat),
	}
	t.Needs("sound", r.Samples)
	t.Needs("level", level)
	if s.Clean.Any() {
		t.Action = t.Action.Arg("clean", s.Clean).Arg("cleaning", cleanRule)
		t.Needs("heard", heard)
	}
	if s.Clean.Tops {
		t.Action = t.Action.Arg("tops", declip.Version)
	}
	if s.Clean.Tone {
		if t.Action = t.Action.Arg("tone", tone.Version); !phones.IsZero() {
			t.Needs("phones", phones)
		}
	}
	t.Action = t.Action.Files(voiceWAV, voiceFile).For(r.File)
	work := voiceWork{take: s.Take, Clock: s.Sound.Clock, Treat: s.Treat, Clean: s.Clean}
	files := []task.ErrandInput{{Ext: ".wav", Edge: r.Samples, Find: r.Samples.Read}, {Ext: ".gob", Edge: level}}
	if s.Clean.Any() {
		files = append(files, task.ErrandInput{Ext: ".gob", Edge: heard})
	}
	if s.Clean.Tone && !phones.IsZero() {
		files = append(files, task.ErrandInput{Ext: ".gob", Edge: phones})
	}
	t.Errand = &task.Errand{Rule: RuleVoice, Args: work, Inputs: files}
	t.Make = func(ctx context.Context, in task.Inputs, dir string, _ func(float64)) error {
		paths, err := task.PathsOf(files, in)
		if err != nil {
			return err
		}
		return work.run(ctx, paths, dir)
	}
	return task.Path(t)
}

// applyTreatment gives a strip its repair and its take's treatment.
func applyTreatment(strip mix.Strip, t plan.Treatment, a mix.Analysis) (mix.Strip, error) {
	strip.Repair, strip.Mutes, strip.LowCut, strip.EQ, strip.Compress = a.Repair, t.Mutes, t.LowCut, t.EQ, t.Compress
	if t.Denoise > 0 {
		noise, err := mix.LearnNoise(strip)
		if err != nil {
			return strip, err
		}
		strip.Denoise = &mix.Denoise{Noise: noise, Depth: t.Denoise}
	}
	return strip, nil
}

// writeVoice writes the voice of a strip and what it measures into dir.
func writeVoice(ctx context.Context, strip mix.Strip, dir string) error {
	src, from, err := mix.Voice(strip)
	if err != nil {
		return err
	}
	metered := mix.NewLoudness(src)
	_, err = media.CreateWAV(ctx, filepath.Join(dir, voiceWAV), metered, media.Float32)
	if err = errors.Join(err, metered.Close()); err != nil {
		return err
	}
	return store.Save(filepath.Join(dir, voiceFile), voiceInfo{From: from, Measured: metered.Measured()})
}

// strip returns a part ready for the bus, its voice with gain, place, send and
// lifts, and what its recording and its voice measure.
func (b bus) strip(p part, in task.Inputs) (mix.Strip, mix.Analysis, voiceInfo, error) {
	a, err := p.level.Read(in)
	if err != nil {
		return mix.Strip{}, a, voiceInfo{}, err
	}
	dir, err := p.voice.Read(in)
	if err != nil {
		return mix.Strip{}, a, voiceInfo{}, err
	}
	v, err := store.Load[voiceInfo](filepath.Join(dir, voiceFile))
	if err != nil {
		return mix.Strip{}, a, v, err
	}
	var h mix.Heard
	if p.Clean.Any() {
		if h, err = p.heard.Read(in); err != nil {
			return mix.Strip{}, a, v, err
		}
	}
	more, err := b.blendOf(p, in)
	if err != nil {
		return mix.Strip{}, a, v, err
	}
	s := mix.Strip{
		Name: p.Take, Section: p.Section, Gain: b.gain(p.Strip, a, v, h) + more.Register,
		Rides: slices.Concat(p.Lifts, rides(more.Moves)),
		Pan:   p.Pan / 100, Law: p.Law, Narrow: 1 - p.Width, Send: p.Send,
	}
	if p.Dry {
		s.Send = audio.Decibels(math.Inf(-1))
	}
	open := func() (audio.Source, error) { return media.OpenWAV(filepath.Join(dir, voiceWAV)) }
	return mix.FromVoice(s, v.From, open), a, v, nil
}

// gain returns everything that is applied to a voice: the manifest's gain, its
// section's and the balance.
func (b bus) gain(s plan.Strip, a mix.Analysis, v voiceInfo, h mix.Heard) audio.Decibels {
	if !b.mix.Balance {
		return s.Gain + s.Group
	}
	// One strip at a time: the balance makes each as loud as all, and none depends on
	// another.
	return s.Gain + s.Group + mix.Balance([]mix.Strip{{}}, []mix.Analysis{asVoice(s, a, v, h)}, nil)[0]
}

// asVoice returns the analysis of a recording as its voice has it, which is what
// will be heard: the noise has moved with the rest, and denoise has taken its
// part of it.
func asVoice(s plan.Strip, a mix.Analysis, v voiceInfo, h mix.Heard) mix.Analysis {
	if moved := v.Measured.Integrated - a.Integrated; !math.IsNaN(float64(moved)) && !math.IsInf(float64(moved), 0) {
		a.NoiseFloor += moved
	}
	a.NoiseFloor -= loudness.LUFS(s.Treat.Denoise)
	if s.Clean.Noise {
		a.NoiseFloor -= loudness.LUFS(h.Depth())
	}
	if s.Clean.Silence {
		a.NoiseFloor -= covered
	}
	a.Integrated = v.Measured.Integrated
	return a
}
