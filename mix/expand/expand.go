// Package expand finds where a recording is played and closes it elsewhere: in
// the count-in, in rests and after the end. It is a downward expander that
// looks ahead: it knows all phrases before the first one sounds, so that it
// opens before an attack and closes behind a tail.
//
// [Find] reads a recording once, against its learned noise, and returns the
// phrases. [Curve] is the gain over time that they give; inside a phrase it is
// always 0 dB, so nothing pumps.
package expand

import (
	"math"

	"ripieno/mix/audio"
)

// Span is a stretch of guide frames, To not included.
type Span struct{ From, To audio.Frames }

// How a curve moves. A phrase is opened before it sounds, within Rise; behind its
// tail the gain falls by Fall a second. Inside a phrase it does not move.
const (
	Depth = audio.Decibels(60) // how far a closed recording is taken down
	Rise  = audio.Frames(audio.Rate / 20)
	Fall  = 90.0 // dB a second: as a room of 0.7 s dies away
)

// Curve is a gain over guide time: 0 dB in the spans, -Depth between them. The
// spans are in order and do not meet. It depends on the frame alone.
type Curve []Span

// DB returns the gain in decibels at guide frame f.
func (c Curve) DB(f audio.Frames) float64 {
	i, open := c.find(f)
	if open {
		return 0
	}
	gain := -float64(Depth)
	if i > 0 { // falling behind the span before
		gain = math.Max(gain, -Fall*(f-c[i-1].To+1).Seconds())
	}
	if i < len(c) { // rising before the next one
		if ahead := c[i].From - f; ahead <= Rise {
			// Half a period of a cosine, in decibels.
			x := float64(ahead) / float64(Rise+1)
			gain = math.Max(gain, -float64(Depth)*(0.5-0.5*math.Cos(math.Pi*x)))
		}
	}
	return gain
}

// find returns the first span that ends behind f, and whether f lies in it.
func (c Curve) find(f audio.Frames) (i int, open bool) {
	low, high := 0, len(c)
	for low < high {
		if mid := (low + high) / 2; c[mid].To > f {
			high = mid
		} else {
			low = mid + 1
		}
	}
	return low, low < len(c) && c[low].From <= f
}

// Apply multiplies the frames of b, the first of which is guide frame start.
func (c Curve) Apply(b audio.Block, start audio.Frames) {
	end := start + audio.Frames(b.Frames())
	for f := start; f < end; {
		i, open := c.find(f)
		if open {
			f = c[i].To
			continue
		}
		next := end
		if i < len(c) {
			next = min(next, c[i].From)
		}
		for ; f < next; f++ {
			g := math.Pow(10, c.DB(f)/20)
			for ch := range b {
				b[ch][f-start] *= g
			}
		}
	}
}

// Open returns how many frames of [from, to) the curve leaves as they are.
func (c Curve) Open(from, to audio.Frames) (n audio.Frames) {
	for _, s := range c {
		n += max(0, min(s.To, to)-max(s.From, from))
	}
	return n
}
