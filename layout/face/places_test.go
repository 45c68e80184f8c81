package face

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"testing/quick"
)

// A smaller copy has the mean of its pixels, rounded, also where the size is no multiple
// of the factor; it is never empty.
func TestSmallerCopies(t *testing.T) {
	for _, c := range []struct {
		w, h, k int
		pix     []byte
		want    grey
	}{
		{2, 2, 1, []byte{1, 2, 3, 4}, grey{2, 2, []byte{1, 2, 3, 4}}},
		{2, 2, 2, []byte{1, 2, 3, 4}, grey{1, 1, []byte{3}}}, // 2.5 is rounded up
		{4, 2, 2, []byte{0, 0, 255, 255, 0, 0, 255, 255}, grey{2, 1, []byte{0, 255}}},
		{5, 3, 2, []byte{10, 10, 20, 20, 99, 10, 10, 20, 20, 99, 99, 99, 99, 99, 99}, grey{2, 1, []byte{10, 20}}},
		{1, 3, 4, []byte{3, 6, 9}, grey{1, 1, []byte{6}}},
	} {
		got := newGrey(c.w, c.h, c.pix, c.k)
		if got.w != c.want.w || got.h != c.want.h || !bytes.Equal(got.pix, c.want.pix) {
			t.Errorf("%dx%d by %d: %+v, want %+v", c.w, c.h, c.k, got, c.want)
		}
	}
	pix := []byte{7}
	if g := newGrey(1, 1, pix, 1); &g.pix[0] == &pix[0] {
		t.Error("the picture of the caller is kept")
	}
}

// Between pixels a value is between theirs, in the middle of four their mean; beyond the
// edge it is the edge's.
func TestValuesBetweenPixels(t *testing.T) {
	g := grey{2, 2, []byte{0, 100, 200, 60}}
	const one = 1 << 16
	for _, c := range []struct{ x, y, want int }{{0, 0, 0}, {one, 0, 100}, {0, one, 200}, {one, one, 60},
		{one / 2, 0, 50}, {one / 2, one / 2, 90}, {-5 * one, 0, 0}, {9 * one, 0, 100}, {9 * one, 9 * one, 60},
		{-one / 2, 0, 0}} {
		if got := int(g.between(c.x, c.y)); got < c.want-1 || got > c.want+1 {
			t.Errorf("at %v, %v: %d, want %d", float64(c.x)/one, float64(c.y)/one, got, c.want)
		}
	}
	bounded := func(x, y int32, a, b, c, d byte) bool {
		v := grey{2, 2, []byte{a, b, c, d}}.between(int(x), int(y))
		return v >= min(a, b, c, d) && v <= max(a, b, c, d)
	}
	if err := quick.Check(bounded, nil); err != nil {
		t.Error(err)
	}
}

// A view leads to the picture and back: turned by a quarter what is right of the middle
// is below it, and a scale of two is twice as far.
func TestPlacesOfAView(t *testing.T) {
	for _, c := range []struct {
		scale, degrees, u, w, x, y float64
	}{{1, 0, 3, 4, 103, 54}, {2, 0, 3, 4, 106, 58}, {1, 90, 10, 0, 100, 60}, {1, -90, 10, 0, 100, 40},
		{1, 180, 10, 5, 90, 45}, {0.5, 90, 0, 10, 95, 50}} {
		x, y := newView(100, 50, c.scale, c.degrees).at(c.u, c.w)
		if math.Abs(x-c.x) > 1e-9 || math.Abs(y-c.y) > 1e-9 {
			t.Errorf("%+v: at %v, %v", c, x, y)
		}
	}
	turn := func(degrees int16, u, w int8) bool {
		v, back := newView(0, 0, 1, float64(degrees)), newView(0, 0, 1, -float64(degrees))
		x, y := v.at(float64(u), float64(w))
		a, b := back.at(x, y)
		return math.Abs(a-float64(u)) < 1e-9 && math.Abs(b-float64(w)) < 1e-9
	}
	if err := quick.Check(turn, nil); err != nil {
		t.Error(err)
	}
}

// What two squares share over what they cover is the same either way, 1 for one and the
// same, 0 for those that only touch.
func TestOverlaps(t *testing.T) {
	a := hit{100, 100, 40, 1}
	for _, c := range []struct {
		b    hit
		want float64
	}{{a, 1}, {hit{140, 100, 40, 1}, 0}, {hit{120, 100, 40, 1}, 1.0 / 3}, {hit{100, 100, 20, 1}, 0.25},
		{hit{100, 300, 40, 1}, 0}, {hit{120, 120, 40, 1}, 1.0 / 7}} {
		if got := a.overlap(c.b); math.Abs(got-c.want) > 1e-12 || a.overlap(c.b) != c.b.overlap(a) {
			t.Errorf("%+v: %v, want %v", c.b, got, c.want)
		}
	}
}

// Hits gather into the same places in whatever order they come, as long as their
// strengths differ, and none is lost: strengths add up.
func TestGatheringHasNoOrder(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	for range 50 {
		var hits []hit
		total := 0.0
		for k := range 12 {
			h := hit{x: float64(100 * rng.IntN(3)), y: 50, size: 40, q: float64(k + 1)}
			h.x += 4 * rng.Float64()
			hits, total = append(hits, h), total+h.q
		}
		want := gather(slices.Clone(hits))
		rng.Shuffle(len(hits), func(i, j int) { hits[i], hits[j] = hits[j], hits[i] })
		got := gather(hits)
		sum := 0.0
		for i := range got {
			sum += got[i].q
			if math.Abs(got[i].x-want[i].x) > 1e-9 || got[i].q != want[i].q || i > 0 && got[i].q > got[i-1].q {
				t.Fatalf("%+v, want %+v", got, want)
			}
		}
		if len(got) != len(want) || math.Abs(sum-total) > 1e-9 {
			t.Fatalf("%d places with %v of %v", len(got), sum, total)
		}
	}
	if got := gather(nil); len(got) != 0 {
		t.Errorf("nothing gathers to %v", got)
	}
}

// Two faces are one when their middles are nearer than half the larger, and the middle of
// several is one of them.
func TestFacesThatAreOne(t *testing.T) {
	f := Face{X: 0.5, Y: 0.5, Size: 0.2}
	for _, c := range []struct {
		o    Face
		want bool
	}{{f, true}, {Face{X: 0.59, Y: 0.5, Size: 0.1}, true}, {Face{X: 0.61, Y: 0.5, Size: 0.1}, false},
		{Face{X: 0.61, Y: 0.5, Size: 0.4}, true}, {Face{X: 0.57, Y: 0.58, Size: 0.2}, false}} {
		if f.covers(c.o) != c.want || c.o.covers(f) != c.want {
			t.Errorf("%+v covers: %v", c.o, f.covers(c.o))
		}
	}
}

// A face moves when its pixels change more than those of the room do; before a room that
// changes as much as it does, or in one picture, nothing can be said to move.
func TestWhatMoves(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	pictures := func(count, noise, change int) *Pictures {
		var p Pictures
		for k := range count {
			pix := bytes.Repeat([]byte{100}, 100*80)
			for i := range pix {
				if noise > 0 {
					pix[i] += byte(rng.IntN(noise))
				}
			}
			for y := 30; y < 50; y++ {
				for x := 40; x < 60; x++ {
					pix[y*100+x] += byte(change * (k % 2))
				}
			}
			if err := p.Add(100, 80, pix); err != nil {
				t.Fatal(err)
			}
		}
		return &p
	}
	f := Face{X: 0.5, Y: 0.5, Size: 0.25}
	for _, c := range []struct {
		what                 string
		count, noise, change int
		want                 bool
	}{{"a player", 6, 3, 60, true}, {"a poster", 6, 3, 0, false}, {"a shaking camera", 6, 120, 20, false},
		{"one picture", 1, 3, 60, false}, {"a still room without noise", 6, 0, 60, true}} {
		if got := pictures(c.count, c.noise, c.change).moves(f); got != c.want {
			t.Errorf("%s moves: %v", c.what, got)
		}
	}
	outside := Face{X: 3, Y: 3, Size: 0.2}
	if pictures(4, 3, 60).moves(outside) {
		t.Error("what is outside of the picture moves")
	}
	p := pictures(2, 0, 40)
	if got := p.deviation(40*100 + 50); math.Abs(got-20) > 1e-9 { // 100 and 140
		t.Errorf("a pixel strays by %v", got)
	}
}
