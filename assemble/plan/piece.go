package plan

import (
	"math"

	"ripieno/layout/shot"
)

// A picture is conformed in pieces, so that many cores work on one take and what
// it is shown in begins before all of it is there. A piece costs a process, which
// takes 0.08 s of a core, so it has at least so many pixels to decode: those of
// about two seconds of a core.
const (
	piecePixels  = 400e6
	leastSeconds = 4
	mostSeconds  = 64
)

// pieceSeconds returns how far apart a picture is cut, in seconds of guide time.
func pieceSeconds(p Picture) float64 {
	seconds := float64(leastSeconds)
	for seconds < mostSeconds && seconds*p.FPS*float64(p.W)*float64(p.H) < piecePixels {
		seconds *= 2
	}
	return seconds
}

// pieceCuts returns the guide frames at which a picture is cut into pieces,
// ascending. Each lies where the file can be opened at no cost, the nearest to a
// whole step of guide time. So they follow from the picture, its place and the
// frame rate alone: neither the machine nor what the film shows of it moves them.
// There are none where nobody knows how a file can be opened, and in a file of
// several parts of time.
func pieceCuts(p Picture, rate shot.Rate) []int {
	if len(p.Parts) > 0 {
		return nil
	}
	step := pieceSeconds(p)
	whole := func(at float64) float64 { return math.Round(p.Guide(at) / step) }
	off := func(at float64) float64 { return math.Abs(p.Guide(at) - step*whole(at)) }
	var nearest []float64 // one for each step
	for _, at := range p.Cuts {
		n := len(nearest)
		switch {
		case n == 0 || whole(nearest[n-1]) < whole(at):
			nearest = append(nearest, at)
		case off(at) < off(nearest[n-1]):
			nearest[n-1] = at
		}
	}
	var cuts []int
	for _, at := range nearest {
		frame := p.frameFrom(at, rate)
		if n := len(cuts); n > 0 && frame-cuts[n-1] < rate.Frame(step/2) {
			continue
		}
		cuts = append(cuts, frame)
	}
	return cuts
}

// inPieces returns a span cut at those of cuts that leave no piece at its ends
// shorter than half of what lies between the first two cuts.
func inPieces(s Span, cuts []int) []Span {
	var inside []int
	for _, at := range cuts {
		if least := (cuts[min(1, len(cuts)-1)] - cuts[0]) / 2; at-s.From >= least && s.To-at >= least {
			inside = append(inside, at)
		}
	}
	return split(s, inside)
}

// Shown is what a tile shows of one conformed piece, guide frames.
type Shown struct {
	Conform int // index into Film.Conforms
	Span
}

// PiecesOf returns the conformed pieces in which the guide frames of a span of a
// tile's picture lie, in their order.
func (f Film) PiecesOf(t Tile, guide Span) []Shown {
	var list []Shown
	for k := t.Conform; k >= 0 && k < len(f.Conforms); k++ {
		c := f.Conforms[k]
		if c.Take != t.Take || c.H != f.Conforms[t.Conform].H || c.Frames.From >= guide.To {
			break
		}
		if part := c.Frames.Meet(guide); part.Len() > 0 {
			list = append(list, Shown{k, part})
		}
	}
	return list
}
