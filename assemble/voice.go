package assemble

import (
	"context"
	"errors"
	"math"
	"path/filepath"

	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/assemble/task"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

// A voice is a strip before its level and place, kept in the store as samples
// on guide time.
const (
	voiceWAV  = "voice.wav"
	voiceFile = "voice.gob"
)

// voiceInfo is kept beside a voice.
type voiceInfo struct {
	From     audio.Frames // guide frame of its first sample
	Measured mix.Measured
}

func levelID(r *recording) string { return "level/" + r.name() }
func voiceID(r *recording) string { return "voice/" + r.name() }

// recorded is a strip as it was recorded, in its place on guide time.
func recorded(s plan.Strip, wav string) mix.Strip {
	return mix.Strip{
		Name: s.Take, Section: s.Section, Open: func() (audio.Source, error) { return media.OpenWAV(wav) },
		Offset: s.Sound.Clock.Offset, Drift: s.Sound.Clock.Drift, From: s.Treat.From, To: s.Treat.To, Delay: s.Treat.Delay,
	}
}

// levelKey is what a recording measures while it may sound in the film.
func (p *Production) levelKey(r *recording, s plan.Strip) store.Action {
	return store.NewAction("level").Version(mixRule).Arg("clock", s.Sound.Clock).Arg("from", s.Treat.From).Arg("to", s.Treat.To).
		Arg("delay", s.Treat.Delay).Input("sound", p.soundKey(r).ID()).Ext(".gob").For(r.file.Path)
}

// levelTask measures one recording: how loud it is, what its channels need,
// how much noise it has.
func (p *Production) levelTask(r *recording, s plan.Strip) task.Task {
	return task.Task{
		ID: levelID(r), Name: r.file.Path, Stage: "measure", Cost: costLevel * r.info.Duration, Action: p.levelKey(r, s), After: []string{soundID(r)},
		Make: func(_ context.Context, in task.Inputs, tmp string, _ func(float64)) error {
			a, err := mix.AnalyseStrip(recorded(s, soundOf(in, r)), mix.Span{From: s.Treat.From, To: s.Treat.To})
			if err != nil {
				return err
			}
			return store.Save(tmp, a)
		},
	}
}

// voiceTask computes a voice and measures it.
func (p *Production) voiceTask(r *recording, s plan.Strip) task.Task {
	key := store.NewAction("voice").Version(mixRule).Arg("clock", s.Sound.Clock).Arg("treat", s.Treat).
		Input("sound", p.soundKey(r).ID()).Input("level", p.levelKey(r, s).ID()).Files(voiceWAV, voiceFile).For(r.file.Path)
	return task.Task{
		ID: voiceID(r), Name: r.file.Path, Stage: "strip", Cost: costVoice * r.info.Duration, Action: key, After: []string{soundID(r), levelID(r)},
		Make: func(ctx context.Context, in task.Inputs, dir string, _ func(float64)) error {
			a, err := store.Load[mix.Analysis](in[levelID(r)])
			if err != nil {
				return err
			}
			strip, err := treated(recorded(s, soundOf(in, r)), s.Treat, a)
			if err != nil {
				return err
			}
			return makeVoice(ctx, strip, dir)
		},
	}
}

// treated gives a strip its repair and its take's treatment.
func treated(strip mix.Strip, t plan.Treatment, a mix.Analysis) (mix.Strip, error) {
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

func makeVoice(ctx context.Context, strip mix.Strip, dir string) error {
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

// mixStrip is a strip ready for the bus: its voice with gain, place, send and
// lifts. a is what its recording measures.
func (p *Production) mixStrip(x entry, a mix.Analysis, in task.Inputs) (mix.Strip, voiceInfo, error) {
	dir := in[voiceID(x.rec)]
	v, err := store.Load[voiceInfo](filepath.Join(dir, voiceFile))
	if err != nil {
		return mix.Strip{}, v, err
	}
	s := mix.Strip{
		Name: x.Take, Section: x.Section, Gain: p.gain(x, a, v), Rides: x.Lifts,
		Pan: x.Pan / 100, Law: x.Law, Narrow: 1 - x.Width, Send: x.Send,
	}
	if x.Dry {
		s.Send = audio.Decibels(math.Inf(-1))
	}
	open := func() (audio.Source, error) { return media.OpenWAV(filepath.Join(dir, voiceWAV)) }
	return mix.FromVoice(s, v.From, open), v, nil
}

// gain is everything that is applied to a voice: the manifest's gain, its
// section's and the balance.
func (p *Production) gain(x entry, a mix.Analysis, v voiceInfo) audio.Decibels {
	if !p.Manifest().Mix.AutoBalance {
		return x.Gain + x.group
	}
	return x.Gain + x.group + mix.Balance([]mix.Strip{{}}, []mix.Analysis{asVoice(x.Strip, a, v)}, nil)[0]
}

// asVoice is the analysis of a recording as its voice has it, which is what
// will be heard: the noise has moved with the rest, and denoise has taken its
// part of it.
func asVoice(s plan.Strip, a mix.Analysis, v voiceInfo) mix.Analysis {
	if moved := v.Measured.Integrated - a.Integrated; !math.IsNaN(float64(moved)) && !math.IsInf(float64(moved), 0) {
		a.NoiseFloor += moved
	}
	a.NoiseFloor -= loudness.LUFS(s.Treat.Denoise)
	a.Integrated = v.Measured.Integrated
	return a
}

// sectionGains are the gains of sections, by name. Under automatic balance a
// section with a target shares it among its strips: unrelated sounds add up in
// power, so n strips are each 10·log10(n) softer than all of them together.
func (p *Production) sectionGains(strips []plan.Strip) map[string]audio.Decibels {
	count := map[string]int{}
	for _, s := range strips {
		count[s.Section]++
	}
	gains := map[string]audio.Decibels{}
	for _, s := range p.Manifest().Sections {
		gain := s.GainDB
		if s.TargetLUFS != nil && p.Manifest().Mix.AutoBalance && count[s.Name] > 0 {
			gain += *s.TargetLUFS - float64(mix.StripTarget) - 10*math.Log10(float64(count[s.Name]))
		}
		gains[s.Name] = audio.Decibels(gain)
	}
	return gains
}

// unusableRoom is the fault of a recorded room that is none.
func unusableRoom(x *manifest.Asset, err error) error {
	return unusable("room", "a recording of one short bang in the room, with 1, 2 or 4 channels; or hall: instead", *x, err)
}
