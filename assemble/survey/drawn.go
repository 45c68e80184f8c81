package survey

import (
	"math"
	"slices"

	"ripieno/assemble/report"
	"ripieno/mix/align"
	"ripieno/mix/audio"
	"ripieno/mix/playing"
)

// waveColumns is how many steps the loudness of a take is drawn with.
const waveColumns = 320

// waveform returns the loudness of a recording over a span of guide time: the mean
// amplitude of each step, 1 for the loudest; steps in which there is no
// recording are −1. span is in seconds. Levels are read every 10 ms and averaged as
// amplitudes, so a step shows how full it is and not its loudest moment.
func waveform(f *align.Features, clock audio.Clock, span [2]float64) []float64 {
	const cell = 0.01 // seconds between the levels kept
	out := make([]float64, waveColumns)
	wide := (span[1] - span[0]) / waveColumns
	for i := range out {
		from, to := clock.File(span[0]+float64(i)*wide), clock.File(span[0]+float64(i+1)*wide)
		if to <= 0 || from >= f.Duration {
			out[i] = -1
			continue
		}
		sum, n := 0.0, 0
		for at := from; at < to; at += cell {
			sum += math.Pow(10, f.LevelAt(at)/20)
			n++
		}
		out[i] = sum / float64(n)
	}
	if top := slices.Max(out); top > 0 {
		for i, v := range out {
			if v > 0 {
				out[i] = v / top
			}
		}
	}
	return out
}

// pagePlaying returns a take's playing as the page shows it.
func pagePlaying(r playing.Report) *report.Playing {
	out := &report.Playing{
		Notes: r.Timing.Notes, SpreadMS: audio.Finite(1000 * r.Timing.Spread), Soft: r.Timing.Soft,
		Cents: audio.Finite(r.Tuning.Cents), CentsOff: audio.Finite(r.Tuning.Spread), Tones: r.Tuning.Tones,
		Score: r.Tuning.Score,
	}
	for _, m := range r.Measures {
		out.Measures = append(out.Measures, 1000*m.Off)
	}
	for _, m := range r.Missed {
		out.Missed = append(out.Missed, report.Gap{From: m.From, To: m.To, Why: m.Why})
	}
	return out
}
