package plan

import (
	"fmt"
	"testing"

	"ripieno/assemble/production"
	"ripieno/layout"
	"ripieno/layout/framing"
)

// moving returns a film of n players who move from shot to shot, with heads where the
// analysis of their pictures found them.
func moving(t *testing.T, n int, c layout.Canvas, a production.Aspect) Film {
	t.Helper()
	p := lamplighter(t, n)
	p.Picture.Aspect, p.Picture.Labels = a, true
	move := production.Transition{Kind: "move", Seconds: 0.8}
	p.Shots = []production.Shot{
		{From: at(1), Show: "tutti"},
		{From: at(2), Show: "solo", Take: "take-2", Others: "around", Transition: move},
		{From: at(3), Show: "tutti", Transition: move},
		{From: at(4), Show: "soli", Section: "high", Transition: move},
		{From: at(5), Show: "pair", Take: "take-1", Other: "take-2", Transition: move},
		{From: at(6), Show: "solo", Take: "take-2", Transition: move},
	}
	facts := filmed(p)
	for i, t := range p.Takes {
		f := facts[t.Name]
		if i%3 > 0 { // of one in three nobody knows where the head is
			x := 0.3 + 0.05*float64(i%5)
			f.Subject = &framing.Person{Heads: framing.Box{Left: x, Right: x + 0.2, Top: 0.1, Bottom: 0.45}}
		}
		facts[t.Name] = f
	}
	pl, err := New(p, facts, []Want{{Name: "x", Canvas: c}}, Look{})
	if err != nil {
		t.Fatal(err)
	}
	return pl.Films[0]
}

// TestNothingPassesOverAFace looks at every frame of moves between shots of many sorts:
// while tiles glide, no more than a tenth of a head is under another tile, and what does not
// glide is not there.
func TestNothingPassesOverAFace(t *testing.T) {
	glides, soloists := 0, 0
	for _, n := range []int{2, 3, 5, 10, 25, 60} {
		for _, c := range []layout.Canvas{{W: 1920, H: 1080}, {W: 1080, H: 1920}, {W: 1080, H: 1080}} {
			for _, a := range []production.Aspect{{AspectW: 16, AspectH: 9}, {Shapes: layout.AnyShape}} {
				f := moving(t, n, c, a)
				for i := range f.Shots {
					list := f.Glides(i)
					if len(list) == 0 {
						continue
					}
					glides += len(list)
					where := fmt.Sprintf("%d players on %v, %v, into shot %d", n, c, a, i)
					p := f.Phases(i, list)
					total := f.Shots[i].Into.Frames
					if p.Leave+p.Glide+p.Arrive != total || p.Leave != total/4 || p.Arrive != total/4 {
						t.Fatalf("%s: names go and come in %+v of %d frames", where, p, total)
					}
					if f.Shots[i].Tiles[list[len(list)-1].New].Take == "take-2" {
						soloists++
					}
					checkFaces(t, f, i, list, p, where)
				}
			}
		}
	}
	if glides < 100 || soloists < 30 {
		t.Errorf("%d glides, %d of the soloist", glides, soloists)
	}
}

// checkFaces compares all gliding tiles with each other in every frame.
func checkFaces(t *testing.T, f Film, i int, list []Glide, p Phases, where string) {
	t.Helper()
	for k := range f.Shots[i].Into.Frames {
		part := float64(k-p.Leave+1) / float64(p.Glide+1)
		for x, under := range list {
			a, b := f.Shots[i-1].Tiles[under.Old].Head, f.Shots[i].Tiles[under.New].Head
			if a.W == 0 || b.W == 0 {
				continue
			}
			head := layout.Between(a, b, part)
			for y, over := range list {
				r := p.Way(over.From, over.To, k)
				w := min(r.Right(), head.Right()) - max(r.X, head.X)
				h := min(r.Bottom(), head.Bottom()) - max(r.Y, head.Y)
				// Between the places that the plan compares, a little more may be covered.
				if x != y && w > 0 && h > 0 && w*h*100 > 14*head.W*head.H {
					t.Fatalf("%s: frame %d: a tile at %v covers the head at %v", where, k, r, head)
				}
			}
		}
	}
}
