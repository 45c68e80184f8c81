package mask

import "math"

// contour is the sound pressure of tones that are as loud as 60 dB at 1 kHz, at the frequencies of
// contourHz: ISO 226:2003, 60 phon (from memory).
var (
	contourHz = []float64{50, 63, 80, 100, 125, 160, 200, 250, 315, 400, 500, 630, 800, 1000, 1250, 1600, 2000, 2500,
		3150, 4000, 5000, 6300, 8000, 10000, 12500}
	contour = []float64{90, 85.9, 82.1, 78.7, 75.6, 72.5, 69.9, 67.5, 65.4, 63.5, 62.1, 60.8, 59.9, 60, 62.2, 63.2, 60,
		57.3, 56.4, 57.6, 60.9, 66.4, 71.7, 73.2, 68.6}
)

// ear is by how much more sound the ear needs in a band than at 1 kHz, dB.
var ear = contourAtBands()

// contourAtBands returns the contour in the critical bands, over 60 dB, in straight lines over the
// logarithm of frequency. What music has in the lowest band lies in its upper half.
func contourAtBands() (out [Bands]float64) {
	for b := range out {
		hz, k := (edges[b]+edges[b+1])/2, 0
		if b == 0 {
			hz = 75
		}
		for k < len(contourHz)-2 && contourHz[k+1] < hz {
			k++
		}
		x := math.Log(hz/contourHz[k]) / math.Log(contourHz[k+1]/contourHz[k])
		out[b] = contour[k] + min(max(x, 0), 1)*(contour[k+1]-contour[k]) - 60
	}
	return out
}

// quiet is the threshold of hearing at 1 kHz in dB of sound pressure, and sonesPerSum makes of the sum
// over bands what a tone of 60 dB at 1 kHz has, 4 sones.
const quiet, sonesPerSum = 3.0, 1.5

// specificDown is what is left of specific loudness so many bands below.
var specificDown = falling(40)

// Phon returns how loud powers in the bands are to the ear, in phon, 0 for what is not heard; full
// scale counts as 95 dB. It is ISO 532-1 made simpler: the standard's specific loudness of every
// band, whose level is brought to that of 1 kHz by the contour of 60 phon in place of the standard's
// tables, and which falls off to the bands beside as excitation does, by the fourth root.
func Phon(power [Bands]float64) float64 {
	var core [Bands]float64
	for b, p := range power {
		level := 10*math.Log10(math.Max(p, 1e-15)) + asSPL - ear[b]
		own := 0.0635 * math.Pow(10, 0.025*quiet) * (math.Pow(0.75+0.25*math.Pow(10, (level-quiet)/10), 0.25) - 1)
		if own <= 0 {
			continue
		}
		up := slopeUp(b, level)
		for k := range core {
			fall := specificDown[max(0, b-k)]
			if k > b {
				fall = math.Pow(10, -up*float64(k-b)/40)
			}
			core[k] = max(core[k], own*fall)
		}
	}
	sones := 0.0
	for _, n := range core {
		sones += sonesPerSum * n
	}
	switch {
	case sones >= 1:
		return 40 + 10*math.Log2(sones)
	case sones > 0:
		return 40 * math.Pow(sones+0.0005, 0.35) // as the standard has it below 1 sone
	}
	return 0
}
