// Package motion finds where a person is in a picture that stands still: the
// room behind a player with a phone on a stand does not change, the player
// does. It looks at grey pictures of one size, sampled over the take, and
// measures how much every pixel varies in time.
//
// Positions are fractions of width and height, 0 at the left and the top.
package motion

import (
	"fmt"
)

// Map gathers the variance of every pixel over time (Welford 1962,
// Technometrics 4(3)). The zero value is empty and takes its size from the
// first picture.
type Map struct {
	w, h   int
	n      int
	mean   []float64
	square []float64 // sum of squared deviations
}

// Add takes the next picture: w·h grey values, row by row. It keeps nothing of
// pix. A picture of another size than the first is an error.
func (m *Map) Add(w, h int, pix []byte) error {
	if m.n == 0 {
		if w < 1 || h < 1 {
			return fmt.Errorf("motion: a picture of %dx%d", w, h)
		}
		m.w, m.h = w, h
		m.mean, m.square = make([]float64, w*h), make([]float64, w*h)
	}
	if w != m.w || h != m.h || len(pix) != w*h {
		return fmt.Errorf("motion: a picture of %dx%d (%d bytes) after one of %dx%d", w, h, len(pix), m.w, m.h)
	}
	m.n++
	for i, v := range pix {
		d := float64(v) - m.mean[i]
		m.mean[i] += d / float64(m.n)
		m.square[i] += d * (float64(v) - m.mean[i])
	}
	return nil
}

// Subject is where something moves before a still background.
type Subject struct {
	Left, Top, Right, Bottom float64 // the box that holds most of the movement
	// Confidence from 0 to 1: near 1 when a small part of the picture moves
	// much more than the rest, 0 when nothing moves or everything does, as with
	// a camera in the hand.
	Confidence float64
}

// Centre returns the middle of the box.
func (s Subject) Centre() (x, y float64) { return (s.Left + s.Right) / 2, (s.Top + s.Bottom) / 2 }

// Reach returns how far the movement extends, if it is spread evenly over the box
// and the tails beyond: values under 0 or over 1 mean that it goes on outside the
// picture. Movement that thins out toward its ends, as most does, extends
// farther.
func (s Subject) Reach() (left, top, right, bottom float64) {
	const more = tail / (1 - 2*tail)
	x, y := more*(s.Right-s.Left), more*(s.Bottom-s.Top)
	return s.Left - x, s.Top - y, s.Right + x, s.Bottom + y
}

// Sure is the confidence from which on a subject is used (chosen here, no
// source: an empty room and a camera in the hand stay below 0.2).
const Sure = 0.35

// Chosen here, with no source: the tails of movement that do not count on
// either side, and how many times the noise of the camera a subject must move
// to be sure of it.
const (
	tail      = 0.08
	sureTimes = 8
)

// Subject returns what moved so far. Without two pictures, or without movement, it
// is the whole picture with confidence 0.
func (m *Map) Subject() Subject {
	whole := Subject{Right: 1, Bottom: 1}
	// Deviations, not variances: one lamp that is switched must not outweigh a
	// player. Half of the pixels are background, whose noise is the median.
	dev, noise := m.deviations()
	if dev == nil {
		return whole
	}
	cols, rows, total, count := make([]float64, m.w), make([]float64, m.h), 0.0, 0
	for i, d := range dev {
		if d -= 2*noise + 1; d > 0 {
			cols[i%m.w] += d
			rows[i/m.w] += d
			total += d
			count++
		}
	}
	if total == 0 {
		return whole
	}
	s := Subject{}
	s.Left, s.Right = between(cols, total)
	s.Top, s.Bottom = between(rows, total)
	// Movement that is spread evenly fills a box of (1-2·tail)² of the area.
	spread := (s.Right - s.Left) * (s.Bottom - s.Top) / ((1 - 2*tail) * (1 - 2*tail))
	times := total / float64(count) / (noise + 1)
	s.Confidence = max(0, 1-spread) * min(1, times/sureTimes*2)
	return s
}

// between returns where the sum of parts reaches tail and 1-tail of total, as
// fractions of their number.
func between(parts []float64, total float64) (from, to float64) {
	n := float64(len(parts))
	sum := 0.0
	for i, p := range parts {
		at := func(share float64) float64 { return (float64(i) + (share*total-sum)/p) / n }
		if p > 0 && sum <= tail*total && sum+p > tail*total {
			from = at(tail)
		}
		if p > 0 && sum < (1-tail)*total && sum+p >= (1-tail)*total {
			to = at(1 - tail)
		}
		sum += p
	}
	if to <= from {
		to = 1
	}
	return from, to
}
