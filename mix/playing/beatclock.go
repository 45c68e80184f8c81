package playing

import (
	"math"

	"ripieno/mix/tempo"
)

const (
	tableStep   = 0.01         // seconds of the table of beats
	changeStep  = 0.2          // seconds between places tried on a map whose tempo changes
	placesApart = fineness / 8 // beats: what places tried differ by at least
)

// beatClock counts a map's beats.
type beatClock struct {
	even     bool // all beats are equally long
	from, to float64
	table    []float64 // beats every tableStep from from
	first    float64   // beats a second before from
	last     float64   // and after to
	most     float64   // the fastest
}

// newBeatClock returns nil for a map without beats.
func newBeatClock(m *tempo.Map) *beatClock {
	var beats []tempo.Beat
	for b := range m.Beats() {
		if b.Length > 0 {
			beats = append(beats, b)
		}
	}
	if len(beats) == 0 {
		return nil
	}
	c := &beatClock{even: true, from: beats[0].Seconds, first: 1 / beats[0].Length,
		last: 1 / beats[len(beats)-1].Length}
	end := beats[len(beats)-1]
	c.to = end.Seconds + end.Length
	k := 0
	for t := c.from; t <= c.to; t += tableStep {
		for k+1 < len(beats) && beats[k+1].Seconds <= t {
			k++
		}
		// A hold is longer than its beat's length: the beat stands still.
		c.table = append(c.table, float64(k)+min(1, (t-beats[k].Seconds)/beats[k].Length))
	}
	for i, b := range beats {
		c.most = max(c.most, 1/b.Length)
		if math.Abs(b.Length-beats[0].Length) > 1e-6 || i > 0 &&
			math.Abs(b.Seconds-beats[i-1].Seconds-beats[0].Length) > 1e-6 {
			c.even = false
		}
	}
	return c
}

// fastest returns the most beats that a second has anywhere in the piece.
func (c *beatClock) fastest() float64 { return c.most }

// beats at a guide time; beyond the map its first and last tempo go on.
func (c *beatClock) beats(guide float64) float64 {
	at := (guide - c.from) / tableStep
	n := len(c.table)
	switch {
	case c.even || at < 0:
		return (guide - c.from) * c.first
	case at >= float64(n-1):
		return c.table[n-1] + (at-float64(n-1))*tableStep*c.last
	}
	i := int(at)
	return c.table[i] + (c.table[i+1]-c.table[i])*(at-float64(i))
}

// places returns where the file may lie: anywhere with ten seconds of its notes in
// the map. Of places on which the beats follow each other alike, within so many
// beats, one is as good as any: a single one where all beats are equally long,
// and one for each stretch of a map in which they are.
func (c *beatClock) places(n notes, apart float64) []float64 {
	if c.even {
		return []float64{0}
	}
	const least = 10
	var out []float64
	step := changeStep * max(1, apart/placesApart)
	first, last := n.at[0], n.at[len(n.at)-1]
	for o := c.from - last + least; o <= c.to-first-least; o += step {
		if k := len(out); k == 0 || c.differ(out[k-1], o, first, last, apart) {
			out = append(out, o)
		}
	}
	return out
}

// placesAtMost returns the places of notes that may be faster or slower than the
// guide's, so many at most, for which they are taken further apart.
func (c *beatClock) placesAtMost(n notes, most int) []float64 {
	// At a higher tempo the notes cover more of the guide.
	wide := notes{at: []float64{n.at[0], n.at[0] + n.span()*fastest}}
	for apart := placesApart; ; {
		all := c.places(wide, apart)
		if len(all) <= max(1, most) {
			return all
		}
		apart *= max(1.2, float64(len(all))/float64(max(1, most)))
	}
}

// differ reports whether the beats from file time first to last run apart by more
// than apart between places a and b, a mere shift left aside.
func (c *beatClock) differ(a, b, first, last, apart float64) bool {
	low, high := math.Inf(1), math.Inf(-1)
	for t := first; t <= last; t += changeStep {
		d := c.beats(b+t) - c.beats(a+t)
		if low, high = min(low, d), max(high, d); high-low > apart {
			return true
		}
	}
	return false
}

// shifts returns how far from a place that was tried a better one may be.
func (c *beatClock) shifts() []float64 {
	if c.even {
		return []float64{0}
	}
	return []float64{-changeStep / 2, -changeStep / 4, 0, changeStep / 4, changeStep / 2}
}
