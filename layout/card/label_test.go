package card

import (
	"image"
	"image/color"
	"testing"

	"ripieno/layout"
)

// half is a tile that fills the left half of a canvas.
func half(c layout.Canvas) layout.Rect { return layout.Rect{W: c.W / 2, H: c.H} }

// labelled returns where there is ink of one label, drawn alone.
func labelled(t *testing.T, c layout.Canvas, l Label, look LabelLook) image.Rectangle {
	t.Helper()
	m, err := Labels(c, []Label{l}, look, nil)
	if err != nil {
		t.Fatal(err)
	}
	return extent(m, func(p color.NRGBA) bool { return p.A > 0 })
}

// A name stands in the corner that was asked for and never leaves its tile,
// whatever its style.
func TestCorners(t *testing.T) {
	c := layout.Canvas{W: 960, H: 540}
	l := Label{half(c), "Mara Voss", "Oboe 1"}
	for _, style := range []layout.LabelStyle{"", layout.Plate, layout.Shadow} {
		for corner, want := range map[layout.Corner][2]bool{ // right, top
			layout.BottomLeft: {false, false}, layout.BottomRight: {true, false}, layout.TopLeft: {false,
				true}, layout.TopRight: {true, true},
		} {
			r := labelled(t, c, l, LabelLook{Style: style, Corners: []layout.Corner{corner}})
			right := r.Min.X+r.Max.X > l.Tile.X*2+l.Tile.W
			top := r.Min.Y+r.Max.Y < l.Tile.Y*2+l.Tile.H
			if right != want[0] || top != want[1] || !r.In(rectangle(l.Tile)) {
				t.Errorf("%s at %s: ink at %v", style, corner, r)
			}
		}
	}
}

// What a name would cover is where it is drawn, in every corner and of every length, and
// lies in its tile.
func TestNameBoxes(t *testing.T) {
	c := layout.Canvas{W: 960, H: 540}
	tile := half(c)
	for _, l := range []Label{{tile, "Mara Voss", "Oboe 1"}, {tile, "Ö", ""},
		{tile, "Wilhelmina Featherstonehaugh-Cholmondeley of Upper Slaughter", "Contrabassoon"}} {
		for _, style := range []layout.LabelStyle{layout.Plate, layout.Shadow} {
			boxes := NameBoxes(c, []Label{l}, LabelLook{Style: style}, nil)[0]
			for k, at := range layout.Corners {
				img, err := Labels(c, []Label{l}, LabelLook{Style: style, Corners: []layout.Corner{at}}, nil)
				if err != nil {
					t.Fatal(err)
				}
				drawn := image.Rectangle{}
				for y := range c.H {
					for x := range c.W {
						if img.NRGBAAt(x, y).A > 150 { // the plate, or right behind letters
							drawn = drawn.Union(image.Rect(x, y, x+1, y+1))
						}
					}
				}
				if box := rectangle(boxes[k]); !drawn.In(box.Inset(-8)) || !boxes[k].Inside(c) ||
					style == layout.Plate && !box.In(drawn.Inset(-3)) {
					t.Errorf("%q as a %s, %s: drawn in %v, said to be in %v", l.Name, style, at, drawn, box)
				}
			}
		}
	}
}

// Letters with a shadow are read on white as those on a plate are: the picture
// right behind them is as dark (WCAG 2.1, level AA).
func TestShadowIsReadOnWhite(t *testing.T) {
	c := layout.Canvas{W: 1920, H: 1080}
	l := Label{half(c), "Mara Voss", "Oboe 1"}
	s := newSetter(nil)
	set := s.setLabel(c, l, LabelLook{Style: layout.Shadow}, layout.BottomLeft)
	p := newPicture(c.W, c.H, white)
	p.shadow(set)
	y := set.box.y0 + padY*set.px
	for i, k := range set.lines {
		worst := 21.0
		for x := int(set.left[i]); x < int(set.left[i]+k.width); x++ {
			// the top of capitals and the baseline
			for _, at := range []float64{y + k.ascent - 0.72*k.px, y + k.ascent} {
				worst = min(worst, Contrast(set.inks[i], p.NRGBAAt(x, int(at))))
			}
		}
		if worst < aa {
			t.Errorf("%q has a contrast of %.2f", k.text, worst)
		}
		y += k.height()
	}
	if got := p.NRGBAAt(int(set.box.x1)+int(2*set.px), int(set.box.y0)); got != white {
		t.Errorf("the shadow reaches to %v", got)
	}
}

// On the smallest screen a name is as large as is read there, in full, or it is not
// there at all.
func TestSmallestScreen(t *testing.T) {
	c := layout.Canvas{W: 1920, H: 1080}
	s := newSetter(nil)
	seen, left := 0, 0
	for _, n := range []int{2, 9, 25, 60, 150} {
		g, err := layout.Grid(n, c, layout.Options{AspectW: 16, AspectH: 9, Gutter: 6})
		if err != nil {
			t.Fatal(err)
		}
		for i, tile := range g.Tiles {
			l := Label{tile, cast[i%len(cast)][0], cast[i%len(cast)][1]}
			set := s.setLabel(c, l, LabelLook{Screen: PhoneCM}, layout.BottomLeft)
			if len(set.lines) == 0 {
				left++
				continue
			}
			for _, k := range set.lines {
				seen++
				if k.px < Readable(c, PhoneCM)-1e-6 || k.text != l.Name && k.text != l.Part ||
					!inside(set.box).In(rectangle(tile).Inset(-1)) {
					t.Errorf("%d players: %q at %.1f pixels in %v, tile %v", n, k.text, k.px, set.box, tile)
				}
			}
		}
	}
	if seen < 60 || left < 60 {
		t.Errorf("%d lines are seen, %d names are left out", seen, left)
	}
}

// A strip stands below the picture, over the whole width and no higher than said.
func TestStrip(t *testing.T) {
	c := layout.Canvas{W: 960, H: 540}
	l := Label{layout.Rect{X: 100, Y: 100, W: 400, H: 226}, "Mara Voss", "Oboe 1"}
	high := StripHeight(c, l.Tile, 0)
	if high%2 != 0 || high < 16 || high > l.Tile.H/3 {
		t.Errorf("%d pixels high", high)
	}
	r := labelled(t, c, l, LabelLook{Style: layout.Strip, Ground: dark})
	if want := image.Rect(100, 326-high, 500, 326); r != want {
		t.Errorf("a strip at %v, want %v", r, want)
	}
}
