package intake

import "math"

// What makes two recordings one. Two takes of one part follow each other's
// loudness loosely, since nobody plays twice alike and no two microphones stand
// in one place; the same recording saved anew follows it within the rounding of
// levels and what a codec changes (judgement).
const (
	levelStep  = 0.01 // seconds between levels
	leastAlike = 10   // seconds that both have to sound
	mostApart  = 1.0  // decibels, standard deviation of the levels' difference
	lagReach   = 15   // levels: containers and codecs move sound by up to 0.1 s
	wellAbove  = 20   // decibels under the loudest level, where codecs change little
)

// sameRecording tells whether two files hold the same recording, trimmed or
// saved anew: their levels run alike when they are put where alignment puts both,
// or begin together.
func sameRecording(a, b *File) bool {
	if len(a.Levels) == 0 || len(b.Levels) == 0 {
		return false
	}
	lags := []int{0}
	if a.Sync != nil && b.Sync != nil && a.Sync.Sure && b.Sync.Sure {
		lags = append(lags, int(math.Round((b.Sync.Offset-a.Sync.Offset)/levelStep)))
	}
	for _, lag := range lags {
		for l := lag - lagReach; l <= lag+lagReach; l++ {
			if alike(a.Levels, b.Levels, l) {
				return true
			}
		}
	}
	return false
}

// alike compares levels in half decibels; a is lag ahead of b.
func alike(a, b []uint8, lag int) bool {
	top := 0
	for _, v := range a {
		top = max(top, int(v))
	}
	n, sum, square := 0, 0.0, 0.0
	low, high := 1<<30, 0
	for i := max(0, lag); i < len(a) && i-lag < len(b); i++ {
		v := int(a[i])
		if v < top-2*wellAbove {
			continue
		}
		d := (float64(v) - float64(b[i-lag])) / 2
		n++
		sum += d
		square += d * d
		low, high = min(low, v), max(high, v)
		// Most pairs are out of the question after a second.
		if n%100 == 0 {
			if mean := sum / float64(n); square/float64(n)-mean*mean > 9*mostApart*mostApart {
				return false
			}
		}
	}
	if float64(n)*levelStep < leastAlike || high-low < 2*6 {
		return false // a steady tone is like any other
	}
	mean := sum / float64(n)
	return square/float64(n)-mean*mean < mostApart*mostApart
}
