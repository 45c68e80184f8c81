// Package face finds the faces of players in pictures that are sampled over a
// take: where they are and how large, and nothing else. It knows nobody: a face
// here is a place in a picture.
//
// It searches with the cascade of the library pigo (N. Markuš et al., "Object
// Detection with Pixel Intensity Comparisons Organized in Decision Trees",
// 2013). The trained cascade is the file facefinder of that library, version
// 1.4.6, under its licence, which is kept beside it.
//
// Pictures are grey, upright and of one size. Positions are fractions of width
// and height, 0 at the left and the top.
package face

import (
	_ "embed"
	"fmt"
	"sync"

	pigo "github.com/esimov/pigo/core"
)

// Version is the version of what is found. It belongs in the key of whatever is
// computed from it.
const Version = 2

//go:embed facefinder
var trained []byte

// cascade is the trained search, which may be used by several at once.
var cascade = sync.OnceValues(func() (*pigo.Pigo, error) { return pigo.NewPigo().Unpack(trained) })

// Face is a face that is seen over a take.
type Face struct {
	// X and Y are the middle of the face, about the tip of the nose: the median
	// over the pictures it was found in.
	X, Y float64
	// Size is the side of the square from the brows to the chin, in heights of
	// the picture.
	Size float64
	// Left, Top, Right and Bottom are the box that the middle stays in.
	Left, Top, Right, Bottom float64
	// Pictures is in how many of Of pictures it was found.
	Pictures, Of int
	// Score is how much like a face it is: the mean over the pictures searched.
	Score float64
	// Moving is set when it moves and the room does not.
	Moving bool
}

// Pictures gathers pictures of a take, at most keepMost of them, spread over all
// that were added whatever their number. The zero value is empty and takes its
// size from the first picture.
type Pictures struct {
	w, h   int // as added
	shrink int
	added  int
	every  int // of how many added pictures one is kept
	kept   []grey
}

const (
	// keepMost is how many pictures are searched: a player who looks at the
	// notes in some of them looks up in others (chosen here, no source).
	keepMost = 8
	// sideMost is the longer side of a picture that is searched, in pixels: a
	// face of a tenth of its height has 20 or more then, which the cascade
	// needs.
	sideMost = 720
)

// Add takes the next picture: w·h grey values, row by row. It keeps nothing of
// pix. A picture of another size than the first is an error.
func (p *Pictures) Add(w, h int, pix []byte) error {
	if p.added == 0 {
		if w < 1 || h < 1 {
			return fmt.Errorf("face: a picture of %dx%d", w, h)
		}
		p.w, p.h, p.every = w, h, 1
		p.shrink = max(1, (max(w, h)+sideMost-1)/sideMost)
	}
	if w != p.w || h != p.h || len(pix) != w*h {
		return fmt.Errorf("face: a picture of %dx%d (%d bytes) after one of %dx%d", w, h, len(pix), p.w, p.h)
	}
	if p.added%p.every == 0 {
		if len(p.kept) == 2*keepMost { // drop every second: those left are spread as before
			for i := range keepMost {
				p.kept[i] = p.kept[2*i]
			}
			p.kept, p.every = p.kept[:keepMost], 2*p.every
		}
		if p.added%p.every == 0 {
			p.kept = append(p.kept, newGrey(w, h, pix, p.shrink))
		}
	}
	p.added++
	return nil
}

// spread returns at most n of the pictures, evenly spread.
func (p *Pictures) spread(n int) []grey {
	if len(p.kept) <= n {
		return p.kept
	}
	out := make([]grey, n)
	for i := range out {
		out[i] = p.kept[(2*i+1)*len(p.kept)/(2*n)]
	}
	return out
}
