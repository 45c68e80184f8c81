package intake

import (
	"math"
	"slices"
)

// What makes two recordings one. Two takes of one part follow each other's
// loudness loosely, since nobody plays twice alike and no two microphones stand
// in one place; the same recording saved anew follows it within the rounding of
// levels and what a codec changes (judgement).
const (
	levelStep   = 0.01 // seconds between levels
	leastAlike  = 10   // seconds that both have to sound
	mostApart   = 1.0  // decibels, standard deviation of the levels' difference
	leastVaried = 12   // half decibels from the softest to the loudest that is compared
	lagReach    = 15   // levels: containers and codecs move sound by up to 0.1 s
	wellAbove   = 20   // decibels under the loudest level, where codecs change little
	moments     = 256  // of a file, by which most pairs are told apart
	glance      = 32   // of those, how many are looked at once
)

// contours are what is known of the files' levels, found once for each.
type contours map[*File]*contour

// contour is how loud a file is all along.
type contour struct {
	levels []uint8 // in half decibels
	bar    int     // what is well above the noise
	varied bool    // a steady tone is like any other
	some   []int   // where some of the levels over the bar are, from all over the file
}

// of returns the contour of a file, which is drawn once: a file is compared with all
// others.
func (c contours) of(f *File) *contour {
	if c[f] == nil {
		c[f] = newContour(f.Levels)
	}
	return c[f]
}

// newContour looks for the bar and for the moments over it. Levels are in half decibels,
// one each levelStep; of no levels nothing is like anything.
func newContour(levels []uint8) *contour {
	c := &contour{levels: levels}
	if len(levels) == 0 {
		return c
	}
	top := int(slices.Max(levels))
	c.bar = top - 2*wellAbove
	var over []int
	low := top
	for i, v := range levels {
		if int(v) >= c.bar {
			over, low = append(over, i), min(low, int(v))
		}
	}
	c.varied = top-low >= leastVaried
	// Multiples of the golden ratio are spread evenly, however many are taken.
	for k := range min(moments, len(over)) {
		_, part := math.Modf(float64(k) * math.Phi)
		c.some = append(c.some, over[int(part*float64(len(over)))])
	}
	return c
}

// same reports whether two files hold the same recording, trimmed or saved anew:
// their levels run alike when they are put where alignment puts both, or begin
// together.
func (c contours) same(a, b *File) bool {
	one, other := c.of(a), c.of(b)
	if !one.varied {
		return false
	}
	lags := []int{0}
	if a.Sync != nil && b.Sync != nil && a.Sync.Sure && b.Sync.Sure {
		lags = append(lags, int(math.Round((b.Sync.Offset-a.Sync.Offset)/levelStep)))
	}
	for _, lag := range lags {
		for l := lag - lagReach; l <= lag+lagReach; l++ {
			if !one.apart(other, l) && one.alike(other, l) {
				return true
			}
		}
	}
	return false
}

// spread is the variance of differences of levels, in square decibels.
type spread struct {
	n           int
	sum, square float64
}

// add counts two levels, in half decibels, that would have been heard at the same time.
func (s *spread) add(a, b uint8) {
	d := (float64(a) - float64(b)) / 2
	s.n++
	s.sum += d
	s.square += d * d
}

// variance returns how unequal the differences are, in square decibels: a file that was
// only made louder has none. NaN when nothing was counted.
func (s *spread) variance() float64 {
	mean := s.sum / float64(s.n)
	return s.square/float64(s.n) - mean*mean
}

// apart tells by a few moments of a whether two files are out of the question
// when a is lag ahead of b. It leaves room: files that are alike all along may
// differ more in some moments.
func (a *contour) apart(b *contour, lag int) bool {
	if float64(min(len(a.levels), len(b.levels)+lag)-max(0, lag))*levelStep < leastAlike {
		return true
	}
	var s spread
	for _, i := range a.some {
		if k := i - lag; k >= 0 && k < len(b.levels) {
			s.add(a.levels[i], b.levels[k])
			if s.n%glance == 0 && s.variance() > 9*mostApart*mostApart {
				return true
			}
		}
	}
	return s.n >= moments/2 && s.variance() > 3*mostApart*mostApart
}

// alike compares all levels; a is lag ahead of b.
func (a *contour) alike(b *contour, lag int) bool {
	var s spread
	low, high := 1<<30, 0
	for i := max(0, lag); i < len(a.levels) && i-lag < len(b.levels); i++ {
		v := int(a.levels[i])
		if v < a.bar {
			continue
		}
		s.add(a.levels[i], b.levels[i-lag])
		low, high = min(low, v), max(high, v)
		if s.n%100 == 0 && s.variance() > 9*mostApart*mostApart {
			return false
		}
	}
	if float64(s.n)*levelStep < leastAlike || high-low < leastVaried {
		return false
	}
	return s.variance() < mostApart*mostApart
}
