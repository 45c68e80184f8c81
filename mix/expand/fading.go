package expand

import (
	"math"
	"slices"
)

// What dies away in two stages: a struck bar falls by 30 dB in its first second, then by 9 dB a
// second. The figures were chosen on simulated takes; they have no source.
const (
	heardFading = 0.4     // seconds: for so long each half of a slow end is heard over the noise
	mostFading  = slowest // dB a second: what falls faster in one of the halves has no slow end
	leastFading = 6.0     // and what falls by less is held, or is noise
	mostMissing = 0.25    // of the frames of a half may lie in the noise
)

// fading returns how fast the slow end of a run dies away, dB a second, and whether it has one.
// It is told in the half octave that stands out of the noise most at the end, without its noise,
// in two halves: the faster one counts, so that a note that is held and then stops, or one whose
// end is heard too shortly, has none. A median takes no notice of a click in between, behind which
// the steepest way down is that of the click.
func (t *trace) fading(r run) (rate float64, slow bool) {
	half := t.frames(heardFading)
	if half < 4 || r.to-r.from < 2*half {
		return 0, false
	}
	band := t.lastBand(run{r.to - 2*half, r.to})
	for _, h := range []run{{r.to - 2*half, r.to - half}, {r.to - half, r.to}} {
		fall, ok := t.fall(h, band)
		if !ok || fall > mostFading {
			return 0, false
		}
		rate = max(rate, fall)
	}
	// Of both together: near the noise a half strays by some decibels a second.
	whole, ok := t.fall(run{r.to - 2*half, r.to}, band)
	return max(rate, whole), ok && whole >= leastFading
}

// lastBand returns the band that stands out most in the middle one of the frames of r.
func (t *trace) lastBand(r run) (band int) {
	bands, best := len(t.bars), 0.0
	for i := range bands {
		var all []float64
		for f := r.from; f < r.to; f++ {
			all = append(all, float64(t.sounds[f*bands+i])/t.bars[i])
		}
		slices.Sort(all)
		if m := all[len(all)/2]; m > best {
			band, best = i, m
		}
	}
	return band
}

// fall returns by how much a band falls in r, less its noise, dB a second: the median of the
// slopes between any two frames (P. K. Sen, "Estimates of the regression coefficient based on
// Kendall's tau", J. Am. Stat. Assoc. 63 (1968)). It is not ok where too little stands over the noise.
func (t *trace) fall(r run, band int) (rate float64, ok bool) {
	var at, level, slopes []float64
	for f := r.from; f < r.to; f++ {
		if p := float64(t.sounds[f*len(t.bars)+band]) - t.bars[band]; p > t.bars[band]/4 {
			at, level = append(at, t.seconds(f)), append(level, 10*math.Log10(p))
		}
	}
	if float64(len(at)) < (1-mostMissing)*float64(r.to-r.from) {
		return 0, false
	}
	for i := range at {
		for j := range i {
			slopes = append(slopes, (level[j]-level[i])/(at[i]-at[j]))
		}
	}
	slices.Sort(slopes)
	return slopes[len(slopes)/2], true
}
