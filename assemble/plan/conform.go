package plan

import (
	"math"
)

// ladder holds the heights a picture is conformed to. A step of about a third
// means that a small change of the layout usually needs no new decoding, and
// that no more than about 1.8 times the pixels needed are kept.
var ladder = []int{90, 120, 180, 216, 240, 270, 360, 480, 540, 720, 900, 1080, 1440, 2160, 2880, 4320}

// rung is the height at which a picture of height h is kept so that it can be
// shown at scale (shown pixels to its own): never larger than it is.
func rung(h int, scale float64) int {
	need := math.Min(1, scale) * float64(h)
	for _, r := range ladder {
		if float64(r) >= need && r < h {
			return r
		}
	}
	return even(h)
}

// draftLines is the height from which a rough cut's pictures are decoded
// without H.264's deblocking, which is a fifth of the work. What is smaller
// decodes quickly and may be shared with a finished film.
const draftLines = 720

// even is the even number nearest to n, at least 2.
func even(n int) int { return max(2, (n+1)/2*2) }

// conform finds what has to be conformed for the film's tiles: one picture for
// each take and rung, over the frames that any shot shows of it.
func (f *Film) conform(facts map[string]Facts, line Timeline) {
	type need struct {
		take string
		rung int
	}
	index := map[need]int{}
	for i := range f.Shots {
		for k := range f.Shots[i].Tiles {
			t := &f.Shots[i].Tiles[k]
			if t.Hole.W == 0 {
				continue
			}
			pic := *facts[t.Take].Picture
			scale := math.Max(float64(t.Hole.W)/float64(t.Source.W), float64(t.Hole.H)/float64(t.Source.H))
			n := need{t.Take, rung(pic.H, scale)}
			frames := Span{t.Shown.From + line.First, t.Shown.To + line.First}
			at, seen := index[n]
			if !seen {
				at = len(f.Conforms)
				index[n] = at
				w := even(int(math.Round(float64(n.rung) * float64(pic.W) / float64(pic.H))))
				draft := f.Rough && min(pic.W, pic.H) >= draftLines
				f.Conforms = append(f.Conforms, Conform{Take: t.Take, Picture: pic, W: w, H: n.rung, Frames: frames, Draft: draft})
			}
			t.Conform = at
			c := &f.Conforms[at]
			c.Frames = Span{min(c.Frames.From, frames.From), max(c.Frames.To, frames.To)}
		}
	}
}
