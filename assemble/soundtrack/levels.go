package soundtrack

import (
	"fmt"
	"math"

	"ripieno/assemble/plan"
	"ripieno/layout/card"
	"ripieno/mix"
	"ripieno/mix/loudness"
	"ripieno/mix/tempo"
)

// findings returns what a person should know of strip i of the mix. It repeats what
// the balance has computed and changes nothing.
func (t *Track) findings(rep Report, i int, h mix.Heard) []string {
	s, a, v := t.parts[i].Strip, rep.Strips[i], rep.Voices[i]
	notes := recordingNotes(a, v)
	if t.mix.Balance {
		notes = append(notes, heldBack(asVoice(s, a, v, h))...)
	}
	return notes
}

// recordingNotes returns what a person should know of a recording and its voice.
func recordingNotes(a mix.Analysis, v voiceInfo) []string {
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

// heldBack says why the balance leaves a strip softer than the others. Under half a
// decibel nobody hears a difference.
func heldBack(voice mix.Analysis) []string {
	by, noisy := mix.HeldBack(voice)
	switch {
	case by < 0.5:
		return nil
	case noisy:
		return []string{fmt.Sprintf("kept %.1f dB softer, or its noise would be heard; denoise: or gain: brings it up",
			float64(by))}
	}
	return []string{fmt.Sprintf("so soft that %.0f dB of gain leave it %.1f dB short", float64(mix.MostBoost),
		float64(by))}
}

// Levels returns the drawing of the levels of a finished mix.
func (t *Track) Levels(pl *plan.Plan, rep Report, heard []mix.Heard, fonts *card.Fonts) card.LevelsOptions {
	after := rep.Master.After
	o := card.LevelsOptions{
		Title: t.title + " · levels", Target: t.mix.Loudness, Seconds: t.line.AudioLen.Seconds(),
		Step: rep.Curve.Step.Seconds(), Fonts: fonts,
		Summary: fmt.Sprintf("integrated %s LUFS · range %s LU · true peak %s dBTP · limiter %.1f dB at most",
			level(float64(after.Integrated)), level(float64(after.Range)), level(float64(after.TruePeak)),
			float64(rep.Master.Reduction)),
	}
	for i, p := range t.parts {
		a, v, gain := rep.Strips[i], rep.Voices[i], float64(rep.Gains[i])
		o.Strips = append(o.Strips, card.LevelStrip{
			Name: p.Take, Section: p.Section, Recorded: orSilence(float64(a.Integrated)),
			Mixed: orSilence(float64(v.Measured.Integrated) + gain),
			Gain:  gain, Noise: float64(loudness.Silence), Part: p.Part,
		})
		if a.NoiseKnown { // as loud as it is in the mix, like the bar it is drawn on
			o.Strips[i].Noise = float64(asVoice(p.Strip, a, v, heard[i]).NoiseFloor) + gain
		}
	}
	for i, v := range rep.Curve.Momentary {
		o.Momentary = append(o.Momentary, float64(v))
		o.ShortTerm = append(o.ShortTerm, float64(rep.Curve.Short[i]))
	}
	// Every measure has a tick; the drawing thins them out.
	for m := 1; m <= pl.Tempo.Measures(); m++ {
		if at, err := pl.Tempo.Seconds(tempo.Position{Measure: m, Beat: 1}); err == nil {
			o.Ticks = append(o.Ticks, card.LevelTick{At: at - t.line.GuideAtZero(), Text: fmt.Sprintf("m%d", m)})
		}
	}
	return o
}

// level returns a level in a caption.
func level(v float64) string {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return "none"
	}
	return fmt.Sprintf("%.1f", v)
}

// orSilence returns a level that can be drawn: −Inf when it is not known.
func orSilence(v float64) float64 {
	if math.IsInf(v, 0) || math.IsNaN(v) {
		return math.Inf(-1)
	}
	return v
}
