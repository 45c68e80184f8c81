package mix

import (
	"math"

	"ripieno/mix/audio"
)

// envelope is a strip's gain over time: trims and mutes with fades, and rides.
// It depends on the frame alone.
type envelope struct {
	from, to audio.Frames
	fade     audio.Frames
	mutes    []Span
	rides    []Ride
}

// forever stands for a trim that is not given.
const forever = audio.Frames(math.MaxInt64 / 4)

// newEnvelope prepares the trims, mutes and rides of a strip.
func newEnvelope(s *Strip) envelope {
	e := envelope{from: s.From, to: s.To, fade: s.Fade, mutes: s.Mutes, rides: s.Rides}
	if e.to == 0 {
		e.to = forever
	}
	if e.fade <= 0 {
		e.fade = DefaultFade
	}
	return e
}

// apply multiplies the frames of b, the first of which is guide frame start.
func (e *envelope) apply(b audio.Block, start audio.Frames) {
	n := audio.Frames(b.Frames())
	// Fades of a trim lie inside it; those of a short one meet in its middle.
	fade := max(1, min(e.fade, (e.to-e.from)/2))
	silence(b, start, start, e.from)
	silence(b, start, e.to, start+n)
	slope(b, start, Span{e.from, e.from + fade}, true)
	slope(b, start, Span{e.to - fade, e.to}, false)
	for _, m := range e.mutes {
		if m.To <= m.From {
			continue
		}
		silence(b, start, m.From, m.To)
		slope(b, start, Span{m.From - e.fade, m.From}, false)
		slope(b, start, Span{m.To, m.To + e.fade}, true)
	}
	for _, r := range e.rides {
		ride(b, start, r)
	}
}

// cut returns the part of [from, to) that lies in the block, as indices.
func cut(b audio.Block, start, from, to audio.Frames) (i, j int) {
	n := audio.Frames(b.Frames())
	return int(min(max(from-start, 0), n)), int(min(max(to-start, 0), n))
}

// silence clears guide frames [from, to).
func silence(b audio.Block, start, from, to audio.Frames) {
	if i, j := cut(b, start, from, to); i < j {
		b.Slice(i, j).Clear()
	}
}

// slope fades in or out over a span, along half a period of a cosine: no
// corner at either end, and frames mirrored about its middle add up to 1.
func slope(b audio.Block, start audio.Frames, s Span, in bool) {
	i, j := cut(b, start, s.From, s.To)
	for k := i; k < j; k++ {
		g := fadeGain(start+audio.Frames(k)-s.From, s.To-s.From)
		if !in {
			g = 1 - g
		}
		for c := range b {
			b[c][k] *= g
		}
	}
}

// fadeGain returns the gain of frame k of a fade-in of n frames: from nearly 0 to
// nearly 1, 0.5 in the middle.
func fadeGain(k, n audio.Frames) float64 {
	return 0.5 - 0.5*math.Cos(math.Pi*(float64(k)+0.5)/float64(n))
}

// ride applies one change of gain.
func ride(b audio.Block, start audio.Frames, r Ride) {
	ramp := r.Ramp
	if ramp <= 0 {
		ramp = DefaultRamp
	}
	if r.To <= r.From {
		return
	}
	i, j := cut(b, start, r.From-ramp, r.To+ramp)
	full := r.Gain.Gain()
	for k := i; k < j; k++ {
		f, g := start+audio.Frames(k), full
		switch {
		case f < r.From:
			g = audio.Decibels(float64(r.Gain) * (float64(f-r.From+ramp) + 0.5) / float64(ramp)).Gain()
		case f >= r.To:
			g = audio.Decibels(float64(r.Gain) * (float64(r.To+ramp-f) - 0.5) / float64(ramp)).Gain()
		}
		for c := range b {
			b[c][k] *= g
		}
	}
}
