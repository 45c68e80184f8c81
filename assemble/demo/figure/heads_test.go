package figure

import (
	"fmt"
	"sync/atomic"
	"testing"

	"ripieno/layout"
	"ripieno/layout/face"
	"ripieno/layout/framing"
	moves "ripieno/layout/motion"
)

// moments are seconds between pictures that are looked at, and how many there are.
const (
	momentsApart = 2.0
	momentsMost  = 20
)

// small returns the luma of a coded frame as it is seen, by a whole factor smaller
// than that and 160 pixels wide.
func small(f *Frame, turn int) (w, h int, pix []byte) {
	w, h, luma := upright(f, turn)
	k := w / 160
	out := make([]byte, 0, (w/k)*(h/k))
	for y := range h / k {
		for x := range w / k {
			sum := 0
			for dy := range k {
				for dx := range k {
					sum += int(luma[(y*k+dy)*w+x*k+dx])
				}
			}
			out = append(out, byte(sum/(k*k)))
		}
	}
	return w / k, h / k, out
}

// headOf returns where the head is in the picture of a view at a moment, with what
// is worn on it, in shares of the picture.
func headOf(l Look, m *Motion, v View, at float64) framing.Box {
	p := poseAt(l, m, at)
	straight := View{W: v.W, H: v.H}
	w, h := v.upright()
	straight.W, straight.H = int(w), int(h)
	top := -58.0
	if l.Hair == Bun {
		top = -76
	}
	way := straight.way().times(place(p.head, p.tilt, 1))
	var box framing.Box
	for _, c := range []point{{-44, -10}, {44, -10}, {0, top}, {0, 44}, {-30, top + 12}, {30, top + 12}, {-30, 30},
		{30, 30}} {
		q := way.apply(c)
		x, y := q.x/w, q.y/h
		box = box.Join(framing.Box{Left: x - 1e-6, Top: y - 1e-6, Right: x, Bottom: y})
	}
	return box
}

// showsHead reports whether a tile that keeps some point of a picture shows all of
// a head.
func showsHead(t *testing.T, head framing.Box, w, h int, tile [2]int, x, y float64) bool {
	t.Helper()
	r := layout.Rect{W: tile[0], H: tile[1]}
	placed, err := layout.Place(w, h, r, layout.Crop, layout.Focus{X: x, Y: y, Zoom: 1})
	if err != nil {
		t.Fatal(err)
	}
	s := placed.Source
	return float64(s.X) <= head.Left*float64(w) && float64(s.Y) <= head.Top*float64(h) &&
		float64(s.X+s.W) >= head.Right*float64(w) && float64(s.Y+s.H) >= head.Bottom*float64(h)
}

// TestHeadsOfDrawnPlayersStayInThePicture looks at every player in every kind of
// hair and room, in wide, upright and turned pictures. The face finder does not
// see them; their heads are whole in tiles of every shape all the same.
func TestHeadsOfDrawnPlayersStayInThePicture(t *testing.T) {
	tiles := [][2]int{{160, 90}, {120, 90}, {90, 90}, {80, 100}, {90, 160}}
	var cut atomic.Int64 // by a crop of the middle
	t.Cleanup(func() {
		if cut.Load() < 40 {
			t.Errorf("the middle of the picture cuts only %d heads: do these scenes prove anything?", cut.Load())
		}
	})
	for _, i := range instruments {
		for _, v := range []View{{W: 640, H: 360}, {W: 320, H: 180}, {W: 360, H: 640}, {W: 640, H: 360, Turn: 90}} {
			for hair := range Hair(8) {
				if (int(hair)+int(i))%4 != 0 && v.W != 320 { // all of them in the small picture
					continue
				}
				l := look(i)
				l.Hair = hair
				t.Run(fmt.Sprintf("%d/%d/%dx%d-%d", i, hair, v.W, v.H, v.Turn), func(t *testing.T) {
					t.Parallel()
					m := motion()
					stage, f := NewStage(l, m, v), NewFrame(v.W, v.H)
					var moving moves.Map
					var faces face.Pictures
					var head framing.Box
					for k := range momentsMost {
						at := momentsApart * float64(k)
						stage.Draw(f, at)
						w, h, pix := small(f, v.Turn)
						if err := moving.Add(w, h, pix); err != nil {
							t.Fatal(err)
						}
						w, h, pix = upright(f, v.Turn)
						if err := faces.Add(w, h, pix); err != nil {
							t.Fatal(err)
						}
						head = head.Join(headOf(l, m, v, at))
					}
					w, h := v.upright()
					found, err := faces.Faces(true)
					if err != nil {
						t.Fatal(err)
					}
					person := framing.Find(framing.Measured{Faces: found, Moving: moving.Subject(),
						Shape: moving.Head(), W: int(w), H: int(h)})
					for _, tile := range tiles {
						wide := float64(tile[0]) / float64(tile[1]) * h / w
						x, y := person.Centre(min(1, wide), min(1, 1/wide))
						if !showsHead(t, head, int(w), int(h), tile, x, y) {
							t.Errorf("tile %v keeps %.3f, %.3f of %v x %v, the head is %.3f, found %.3f, body %.3f, "+
								"faces %v",
								tile, x, y, w, h, head, person.Head, person.Body, found)
						}
						if !showsHead(t, head, int(w), int(h), tile, 0.5, 0.5) {
							cut.Add(1)
						}
					}
				})
			}
		}
	}
}
