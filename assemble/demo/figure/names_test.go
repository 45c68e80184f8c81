package figure

import (
	"fmt"
	"sync/atomic"
	"testing"

	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/framing"
	moves "ripieno/layout/motion"
)

// handsAt returns where the hands are in the picture of a view at a moment, in shares of it.
func handsAt(l Look, m *Motion, v View, at float64) [2]point {
	p, f := poseAt(l, m, at), NewFrame(v.W, v.H)
	straight := View{W: v.W, H: v.H}
	w, h := v.upright()
	straight.W, straight.H = int(w), int(h)
	p.drawInstrument(newCanvas(f, straight.way())) // that is where hands are put
	var out [2]point
	for i, hand := range []point{p.left, p.right} {
		q := straight.way().apply(hand)
		out[i] = point{q.x / w, q.y / h}
	}
	return out
}

// watched is a drawn player as a phone filmed them: who was found in the picture, and where
// head and hands were at every moment.
type watched struct {
	v      View
	person framing.Person
	heads  framing.Box
	hands  []point
}

// watchDrawn looks at a player from the beginning to the end.
func watchDrawn(t *testing.T, l Look, v View) watched {
	t.Helper()
	s, m := watched{v: v}, motion()
	stage, f := NewStage(l, m, v), NewFrame(v.W, v.H)
	var moving moves.Map
	for k := range momentsMost {
		at := momentsApart * float64(k)
		stage.Draw(f, at)
		w, h, pix := small(f, 0)
		if err := moving.Add(w, h, pix); err != nil {
			t.Fatal(err)
		}
		s.heads = s.heads.Join(headOf(l, m, v, at))
		both := handsAt(l, m, v, at)
		s.hands = append(s.hands, both[:]...)
	}
	s.person = framing.Find(framing.Measured{Moving: moving.Subject(), Moves: moving.Heat(), Shape: moving.Head(),
		W: v.W, H: v.H})
	return s
}

// onPicture returns a part of a tile, which is cut to keep the head, as a part of the
// picture in it.
func (s watched) onPicture(t *testing.T, tile, r layout.Rect) framing.Box {
	t.Helper()
	w, h := float64(s.v.W), float64(s.v.H)
	wide := float64(tile.W) / float64(tile.H) * h / w
	focus := layout.Focus{Zoom: 1}
	focus.X, focus.Y = s.person.Centre(min(1, wide), min(1, 1/wide))
	placed, err := layout.Place(s.v.W, s.v.H, tile, layout.Crop, focus)
	if err != nil {
		t.Fatal(err)
	}
	from := placed.Source
	x := func(v int) float64 { return (float64(from.X) + float64(v*from.W)/float64(tile.W)) / w }
	y := func(v int) float64 { return (float64(from.Y) + float64(v*from.H)/float64(tile.H)) / h }
	return framing.Box{Left: x(r.X), Top: y(r.Y), Right: x(r.Right()), Bottom: y(r.Bottom())}
}

// under returns what share of the time a hand is in a box, and how much of the head.
func (s watched) under(box, seen framing.Box) float64 {
	n := 0
	for _, p := range s.hands {
		if p.x > box.Left && p.x < box.Right && p.y > box.Top && p.y < box.Bottom {
			n++
		}
	}
	return float64(n)/float64(len(s.hands)) + framing.Person{Heads: s.heads}.Covered(seen, box)
}

// TestNamesOfDrawnPlayersKeepOffThem counts how often a hand or the head of a player of the
// demo lies under the name, in tiles of every shape. Where a name could be seen to hide
// nobody in some corner, it hides nobody, and never more than at the lower left.
func TestNamesOfDrawnPlayersKeepOffThem(t *testing.T) {
	const most = 0.06 // a hand in its lap before the music
	c := layout.Canvas{W: 1920, H: 1080}
	var moved, better atomic.Int64
	t.Cleanup(func() {
		if moved.Load() < 15 || better.Load() < 8 {
			t.Errorf("%d names moved, %d to where they hide nobody: do these scenes prove anything?", moved.Load(),
				better.Load())
		}
	})
	for _, i := range instruments {
		for _, v := range []View{{W: 320, H: 180}, {W: 180, H: 320}} {
			t.Run(fmt.Sprintf("%d/%dx%d", i, v.W, v.H), func(t *testing.T) {
				t.Parallel()
				s := watchDrawn(t, look(i), v)
				for _, tile := range []layout.Rect{{W: 640, H: 360}, {W: 480, H: 360}, {W: 360, H: 360},
					{W: 400, H: 500}} {
					var found layout.Hidden
					var truth [4]float64
					free, seen := false, s.onPicture(t, tile, tile)
					label := []card.Label{{Tile: tile, Name: "Runa Thistle", Part: "Viola"}}
					for k, r := range card.NameBoxes(c, label, card.LabelLook{}, nil)[0] {
						box := s.onPicture(t, tile, r)
						found[k], truth[k] = s.person.Covered(seen, box), s.under(box, seen)
						free = free || truth[k] <= most && found[k] <= most
					}
					at := found.Corner(0)
					if at != 0 {
						moved.Add(1)
						if truth[0] > most && truth[at] <= most {
							better.Add(1)
						}
					}
					if truth[at] > most && (free || truth[at] > truth[0]) {
						t.Errorf("tile %v: the name hides %.2f in corner %d, of %.2f; found %.3f", tile, truth[at],
							at, truth,
							found)
					}
				}
			})
		}
	}
}
