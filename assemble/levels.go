package assemble

import (
	"context"
	"fmt"
	"image/png"
	"math"

	"ripieno/assemble/manifest"
	"ripieno/assemble/media"
	"ripieno/assemble/plan"
	"ripieno/assemble/store"
	"ripieno/layout/card"
	"ripieno/mix"
	"ripieno/mix/audio"
	"ripieno/mix/loudness"
	"ripieno/mix/tempo"
)

// fill says what the mix became. balanced tells that levels were set
// automatically.
func (r *MixResult) fill(path string, pl *plan.Plan, rep soundReport, balanced bool) {
	m := rep.Master
	r.WAV, r.Duration, r.TimeReference = path, pl.Timeline.AudioLen.Seconds(), media.TimeReference(pl.Timeline.AudioStart)
	r.Loudness, r.TruePeak = finite(float64(m.After.Integrated)), finite(float64(m.After.TruePeak))
	r.Range = finite(float64(m.After.Range))
	r.Master = MixMaster{
		Sum: finite(float64(m.Before.Integrated)), Gain: float64(m.Gain), Reduction: float64(m.Reduction), Limited: m.Limited,
		Reached: m.Reached, Tries: rep.Tries, AAC: finite(float64(rep.AAC.Integrated)), AACPeak: finite(float64(rep.AAC.TruePeak)),
	}
	r.Curve = MixCurve{Step: rep.Curve.Step.Seconds(), Momentary: finites(rep.Curve.Momentary), ShortTerm: finites(rep.Curve.Short)}
	if !m.Reached && m.Reason != "" {
		r.Notes = append(r.Notes, "the loudness asked for was not reached: "+m.Reason)
	}
	for i, s := range pl.Strips {
		strip := mixed(s, rep.Strips[i], rep.Voices[i], rep.Gains[i])
		if balanced {
			strip.Notes = append(strip.Notes, heldBack(asVoice(s, rep.Strips[i], rep.Voices[i]))...)
		}
		r.Strips = append(r.Strips, strip)
	}
}

func finites(list []float32) []*float64 {
	out := make([]*float64, len(list))
	for i, v := range list {
		// Hundredths, as meters show them; the rest would only be digits.
		out[i] = finite(math.Round(float64(v)*100) / 100)
	}
	return out
}

// target repeats what was asked for.
func (r *MixResult) target(m manifest.Mix) {
	r.Master.Target, r.Master.Ceiling = m.LoudnessLUFS, m.TruePeakDB
}

// mixed describes one strip.
func mixed(s plan.Strip, a mix.Analysis, v voiceInfo, gain audio.Decibels) MixStrip {
	out := MixStrip{
		Take: s.Take, Section: s.Section, Gain: float64(gain), Pan: s.Pan, Width: s.Width, LowCut: max(0, s.Treat.LowCut),
		Loudness: finite(float64(a.Integrated)), Peak: finite(float64(a.Peak)),
		Mixed:        finite(float64(v.Measured.Integrated) + float64(gain)),
		DelaySamples: int64(audio.FramesAt(s.Sound.Clock.Offset)), Notes: findings(a, v),
	}
	if a.NoiseKnown {
		out.Noise = finite(float64(a.NoiseFloor))
	}
	if !s.Dry {
		out.Send = finite(float64(s.Send))
	}
	for _, l := range s.Lifts {
		out.Lifts = append(out.Lifts, MixLift{l.From.Seconds(), l.To.Seconds(), float64(l.Gain)})
	}
	return out
}

// findings are what a person should know of a strip.
func findings(a mix.Analysis, v voiceInfo) []string {
	var notes []string
	note := func(format string, args ...any) { notes = append(notes, fmt.Sprintf(format, args...)) }
	switch {
	case a.Frames == 0 || math.IsInf(float64(a.Peak), -1):
		note("silent")
	case a.Seconds < 0.4: // no gating block of BS.1770 fits into it
		note("only %.1f s long", a.Seconds)
	case math.IsInf(float64(a.Integrated), -1):
		note("nothing loud enough to measure while it is in the film")
	case math.IsInf(float64(v.Measured.Integrated), -1):
		note("nothing is left of it after trims, mutes and filters")
	}
	if a.Repair != mix.AsRecorded {
		note("%s", a.Repair)
	}
	if a.Clipped > 0 {
		note("clipped: %d samples at full scale", a.Clipped)
	}
	if a.Broken > 0 {
		note("%d broken samples silenced", a.Broken)
	}
	return notes
}

// heldBack says why the balance leaves a strip softer than the others.
func heldBack(voice mix.Analysis) []string {
	by, noisy := mix.HeldBack(voice)
	switch {
	case by < 0.5:
		return nil
	case noisy:
		return []string{fmt.Sprintf("kept %.1f dB softer, or its noise would be heard; denoise: or gain: brings it up", float64(by))}
	}
	return []string{fmt.Sprintf("so soft that %.0f dB of gain leave it %.1f dB short", float64(mix.MostBoost), float64(by))}
}

// drawLevels draws the picture of the levels.
func (p *Production) drawLevels(ctx context.Context, pl *plan.Plan, rep soundReport, r *MixResult) error {
	path, err := p.outFile(levelsName)
	if err != nil {
		return err
	}
	img, err := card.Levels(p.levels(pl, rep, *r))
	if err != nil {
		return err
	}
	r.Levels = path
	return store.Publish(ctx, path, func(tmp string) error { return writePNG(tmp, img, png.DefaultCompression) })
}

// levels is the drawing of a mix.
func (p *Production) levels(pl *plan.Plan, rep soundReport, r MixResult) card.LevelsOptions {
	o := card.LevelsOptions{
		Title: p.man.Title + " · levels", Target: p.man.Mix.LoudnessLUFS, Seconds: r.Duration, Step: r.Curve.Step, Fonts: p.look.Fonts,
		Summary: fmt.Sprintf("integrated %s LUFS · range %s LU · true peak %s dBTP · limiter %.1f dB at most",
			shown(r.Loudness), shown(r.Range), shown(r.TruePeak), r.Master.Reduction),
	}
	for i, s := range r.Strips {
		o.Strips = append(o.Strips, card.LevelStrip{
			Name: s.Take, Section: s.Section, Recorded: orSilence(s.Loudness), Mixed: orSilence(s.Mixed),
			Gain: s.Gain, Noise: float64(loudness.Silence), Part: pl.Strips[i].Part,
		})
		if rep.Strips[i].NoiseKnown { // as loud as it is in the mix, like the bar it is drawn on
			o.Strips[i].Noise = float64(asVoice(pl.Strips[i], rep.Strips[i], rep.Voices[i]).NoiseFloor) + s.Gain
		}
	}
	for i, v := range rep.Curve.Momentary {
		o.Momentary = append(o.Momentary, float64(v))
		o.ShortTerm = append(o.ShortTerm, float64(rep.Curve.Short[i]))
	}
	// Every measure has a tick; the drawing thins them out.
	for m := 1; m <= p.man.Tempo.Measures(); m++ {
		if at, err := p.man.Tempo.Seconds(tempo.Position{Measure: m, Beat: 1}); err == nil {
			o.Ticks = append(o.Ticks, card.LevelTick{At: at - pl.Timeline.GuideAtZero(), Text: fmt.Sprintf("m%d", m)})
		}
	}
	return o
}

// shown is a level in a caption.
func shown(v *float64) string {
	if v == nil {
		return "none"
	}
	return fmt.Sprintf("%.1f", *v)
}

// orSilence turns an absent level back into −Inf.
func orSilence(v *float64) float64 {
	if v == nil {
		return math.Inf(-1)
	}
	return *v
}
