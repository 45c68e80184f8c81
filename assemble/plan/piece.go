package plan

import (
	"math"
	"slices"

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

// pieceCuts returns the guide frames before end, the end of the film, at which a
// picture is cut into pieces, ascending. Each lies where the file can be opened at no
// cost, the nearest to a whole step of guide time, and in the last step of the film to
// half a step: what is conformed last is short, so that cores end at nearly the same
// time. So they follow from the picture, its place, the frame rate and that end alone:
// neither the machine nor what the film shows of it moves them. There are none where
// nobody knows how a file can be opened, and in a file of several parts of time.
func pieceCuts(p Picture, rate shot.Rate, end int) []int {
	if len(p.Parts) > 0 {
		return nil
	}
	step := pieceSeconds(p)
	cuts := cutsEvery(p, rate, step)
	for _, at := range cutsEvery(p, rate, step/2) {
		if at > end-rate.Frame(step) {
			cuts = append(cuts, at)
		}
	}
	slices.Sort(cuts)
	return slices.DeleteFunc(slices.Compact(cuts), func(at int) bool { return at >= end })
}

// cutsEvery returns the guide frames at which a picture can be cut nearest to whole
// steps of so many seconds.
func cutsEvery(p Picture, rate shot.Rate, step float64) []int {
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

// inPieces returns a span cut at those of cuts that leave no piece shorter than half of
// what lies between two cuts at its beginning, and than a third at its end.
func inPieces(s Span, cuts []int) []Span {
	n := len(cuts)
	if n < 2 {
		return split(s, inside(s, cuts, 0, 0))
	}
	return split(s, inside(s, cuts, (cuts[1]-cuts[0])/2, (cuts[n-1]-cuts[n-2])/3))
}

// inside returns the cuts that leave so many frames of a span before and behind them.
func inside(s Span, cuts []int, before, behind int) (list []int) {
	for _, at := range cuts {
		if at-s.From >= before && s.To-at >= behind {
			list = append(list, at)
		}
	}
	return list
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
