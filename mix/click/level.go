package click

import (
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

// blockFrames is the length of a momentary loudness block, 400 ms.
const blockFrames = 2 * audio.Rate / 5

// measure returns the momentary loudness in LUFS at the end of wave, or of a
// block of 400 ms that begins with it when it is shorter, and its true peak as
// a linear amplitude. Silence is −Inf and 0.
func measure(wave []float64) (lufs, peak float64) {
	m := loudness.NewMeter(1, audio.Rate)
	m.Write(audio.Block{wave})
	m.Write(audio.NewBlock(1, max(0, blockFrames-len(wave))))
	return float64(m.Momentary()), m.TruePeak().Gain()
}

// level scales wave to a momentary loudness in LUFS, times gain, and returns
// its true peak.
func level(wave []float64, lufs, gain float64) (peak float64) {
	was, peak := measure(wave)
	scale := gain * audio.Decibels(lufs-was).Gain()
	for i := range wave {
		wave[i] *= scale
	}
	return math.Abs(scale) * peak
}
