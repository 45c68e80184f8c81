package face

import (
	"bytes"
	"math"
	"testing"
)

// numbered returns a picture that says which one it is.
func numbered(k int) []byte { return bytes.Repeat([]byte{byte(k)}, 8*6) }

// However many pictures come, those that are kept are spread evenly over them.
func TestPicturesAreSpread(t *testing.T) {
	for _, count := range []int{1, 5, 15, 16, 17, 31, 32, 33, 100, 250} {
		var p Pictures
		for k := range count {
			if err := p.Add(8, 6, numbered(k)); err != nil {
				t.Fatal(err)
			}
		}
		if len(p.kept) > 2*keepMost || len(p.kept) < min(count, keepMost) {
			t.Errorf("%d of %d pictures are kept", len(p.kept), count)
		}
		for i, g := range p.kept {
			if int(g.pix[0]) != i*p.every {
				t.Errorf("of %d, the %d. picture kept is number %d", count, i+1, g.pix[0])
			}
		}
		if got := p.spread(keepMost); len(got) != min(len(p.kept), keepMost) {
			t.Errorf("of %d, %d are searched", count, len(got))
		}
	}
}

func TestAPictureOfAnotherSizeIsRefused(t *testing.T) {
	var p Pictures
	if p.Add(8, 6, numbered(1)) != nil || p.Add(6, 8, numbered(1)) == nil || p.Add(8, 6, make([]byte, 7)) == nil {
		t.Error("pictures of one size go in, others do not")
	}
	if new(Pictures).Add(0, 5, nil) == nil {
		t.Error("an empty picture went in")
	}
}

// Pictures too small for a face, and none at all, have none.
func TestNoPicturesNoFaces(t *testing.T) {
	var tiny Pictures
	if err := tiny.Add(8, 6, numbered(9)); err != nil {
		t.Fatal(err)
	}
	for _, p := range []*Pictures{{}, &tiny} {
		if faces, err := p.Faces(true); err != nil || len(faces) > 0 {
			t.Errorf("%v, %v", faces, err)
		}
	}
}

// A view that is not turned and not scaled is the picture; what is turned is where
// the view says.
func TestViews(t *testing.T) {
	g := grey{w: 40, h: 30, pix: make([]byte, 40*30)}
	for i := range g.pix {
		g.pix[i] = byte(i * 7)
	}
	if got := g.look(newView(20, 15, 1, 0), 40, 30); !bytes.Equal(got.pix, g.pix) {
		t.Error("a plain view is another picture")
	}
	spot := grey{w: 40, h: 30, pix: make([]byte, 40*30)}
	spot.pix[5*40+30] = 200
	v := newView(20, 15, 1, 90)
	turned := spot.look(v, 40, 40)
	for i, value := range turned.pix {
		if value < 150 {
			continue
		}
		x, y := v.at(float64(i%40)+0.5-20, float64(i/40)+0.5-20)
		if math.Abs(x-30.5) > 0.6 || math.Abs(y-5.5) > 0.6 {
			t.Errorf("the spot is seen at %.1f, %.1f", x, y)
		}
		return
	}
	t.Error("the spot is not seen")
}

// Hits that overlap are one, at the mean by their strength.
func TestHitsAreGathered(t *testing.T) {
	got := gather([]hit{{100, 100, 40, 1}, {104, 100, 40, 3}, {300, 100, 40, 2}})
	if len(got) != 2 || got[0] != (hit{103, 100, 40, 4}) || got[1] != (hit{300, 100, 40, 2}) {
		t.Errorf("%v", got)
	}
}
