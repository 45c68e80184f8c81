package mix

import (
	"math"

	"ripieno/mix/audio"
	"ripieno/mix/loudness"
)

// How Balance sets levels. The figures are the trade's habits, without a
// source.
const (
	// StripTarget is the loudness every strip is brought to before its
	// section's gain. Only the sum's loudness is delivered, so its height is
	// free; this one keeps fifty strips near full scale.
	StripTarget = loudness.LUFS(-30)
	// MostBoost is the most a soft recording is brought up.
	MostBoost = audio.Decibels(30)
	// NoiseCeiling is how loud the noise of a strip may become by bringing it
	// up: 30 LU under the playing of the others.
	NoiseCeiling = StripTarget - 30
)

// Balance returns the gain for every strip that makes all equally loud, by
// their gated loudness, and then moves each section by its gain; a section
// that is not in sectionGain is not moved. Strip i is measured in analyses[i]. The
// strips' own gains are not part of the result: add them to it.
//
// A soft recording is brought up by MostBoost at most, and not so far that its
// noise floor passes NoiseCeiling, where the floor is known. Strips without a
// loudness keep a gain of 0 dB.
func Balance(strips []Strip, analyses []Analysis, sectionGain map[string]audio.Decibels) []audio.Decibels {
	gains := make([]audio.Decibels, len(strips))
	for i := range strips {
		if i < len(analyses) {
			gains[i] = balanceOne(analyses[i])
		}
		if g := sectionGain[strips[i].Section]; !math.IsNaN(float64(g)) {
			gains[i] += g
		}
	}
	return gains
}

// balanceOne returns the gain for one recording.
func balanceOne(a Analysis) audio.Decibels {
	if math.IsInf(float64(a.Integrated), 0) || math.IsNaN(float64(a.Integrated)) {
		return 0
	}
	want := audio.Decibels(StripTarget - a.Integrated)
	held, _ := HeldBack(a)
	return want - held
}

// HeldBack returns by how much [Balance] leaves a recording softer than the others,
// 0 or positive, and whether its noise is the reason; otherwise it is softer
// than MostBoost can mend.
func HeldBack(a Analysis) (by audio.Decibels, noisy bool) {
	want := audio.Decibels(StripTarget - a.Integrated)
	if !(want > 0) || math.IsInf(float64(want), 1) {
		return 0, false
	}
	most := MostBoost
	if a.NoiseKnown {
		// The noise may limit how far a strip comes up, never push it down.
		if clean := max(0, audio.Decibels(NoiseCeiling-a.NoiseFloor)); clean < most {
			most, noisy = clean, true
		}
	}
	if want <= most {
		return 0, false
	}
	return want - most, noisy
}
