package figure

import (
	"flag"
	"fmt"
	"image"
	"image/draw"
	"image/png"
	"math"
	"os"
	"path/filepath"
	"testing"
)

var update = flag.Bool("update", false, "write the golden images anew")

// signed returns the area of an outline, positive when it turns the way all shapes
// turn.
func signed(outline []point) float64 {
	area := 0.0
	last := outline[len(outline)-1]
	for _, p := range outline {
		area += (last.x*p.y - p.x*last.y) / 2
		last = p
	}
	return area
}

// One fill of several outlines only works when all turn the same way.
func TestShapesTurnTheSameWay(t *testing.T) {
	for name, s := range map[string]shape{
		"rectangle":   rectangle(1, 2, 5, 9),
		"backwards":   rectangle(5, 9, 1, 2),
		"polygon":     polygon(point{0, 0}, point{0, 5}, point{5, 5}),
		"ellipse":     ellipse(point{3, 4}, 5, 2, 33),
		"limb":        limb(point{3, 4}, point{-8, 20}, 3, 1),
		"short limb":  limb(point{3, 4}, point{3, 4}, 3, 3),
		"line":        line(2, point{0, 0}, point{9, 1}, point{2, 8}),
		"bend":        bend(2, point{0, 0}, point{9, 1}, point{2, 8}),
		"blob":        blob(point{0, 0}, point{5, 0}, point{5, 5}, point{0, 5}),
		"blob turned": blob(point{0, 5}, point{5, 5}, point{5, 0}, point{0, 0}),
		"mirror":      blob(point{0, 0}, point{5, 0}, point{5, 5}, point{0, 5}).mirror(),
	} {
		for i, outline := range s {
			if signed(outline) <= 0 {
				t.Errorf("%s: outline %d turns the other way", name, i)
			}
		}
	}
	r := ring(point{0, 0}, 5, 2)
	if len(r) != 2 || signed(r[0]) <= 0 || signed(r[1]) >= 0 {
		t.Error("the hole of a ring must turn the other way")
	}
}

func TestSplineGoesThroughItsPoints(t *testing.T) {
	a, b, c, d := point{0, 1}, point{3, 5}, point{9, 4}, point{12, -3}
	if p := spline(a, b, c, d, 0); p != b {
		t.Errorf("begins at %v", p)
	}
	if p := spline(a, b, c, d, 1); p.minus(c).length() > 1e-12 {
		t.Errorf("ends at %v", p)
	}
	// Evenly spaced points on a line stay a line.
	if p := spline(point{0, 0}, point{1, 2}, point{2, 4}, point{3, 6}, 0.3); p.minus(point{1.3, 2.6}).length() > 1e-12 {
		t.Errorf("a straight curve goes through %v", p)
	}
}

func TestMatrix(t *testing.T) {
	m := place(point{10, 20}, 90, 2)
	if p := m.apply(point{1, 0}); p.minus(point{10, 22}).length() > 1e-9 {
		t.Errorf("a quarter turn clockwise takes right to %v, want down", p)
	}
	n := matrix{a: 3, d: 4, e: 5, f: 6}
	p := point{0.7, -0.2}
	if got, want := m.times(n).apply(p), m.apply(n.apply(p)); got.minus(want).length() > 1e-12 {
		t.Errorf("the product goes to %v, one after the other to %v", got, want)
	}
}

// A landscape view shows the stage, whatever its size; a portrait view keeps
// the player's head and hands in the band of 16:9 round 0.39 of the height.
func TestViews(t *testing.T) {
	for _, v := range []View{{W: 640, H: 360}, {W: 1280, H: 720}, {W: 320, H: 180}} {
		m := v.way()
		a, b := m.apply(point{0, 0}), m.apply(point{640, 360})
		if a.length() > 1e-9 || b.minus(point{float64(v.W), float64(v.H)}).length() > 1e-9 {
			t.Errorf("%+v shows %v to %v", v, a, b)
		}
	}
	for _, v := range []View{{W: 360, H: 640}, {W: 640, H: 360, Turn: 90}, {W: 640, H: 360, Turn: 270}} {
		up := v
		if v.Turn != 0 {
			up = View{W: v.H, H: v.W}
		}
		m := up.way()
		band := float64(up.W) * 9 / 16
		top, bottom := 0.39*float64(up.H)-band/2, 0.39*float64(up.H)+band/2
		for _, p := range []point{{320, 56}, {260, 312}, {380, 312}} {
			if q := m.apply(p); q.y < top || q.y > bottom || q.x < 0 || q.x > float64(up.W) {
				t.Errorf("%+v: %v is at %v, outside the band from %.0f to %.0f", v, p, q, top, bottom)
			}
		}
	}
}

// Nobody's hands jump: from frame to frame, at 30 a second, they move by less
// than a hand's length and a half, but for the strum of a guitar.
func TestHandsMoveSmoothly(t *testing.T) {
	for _, i := range instruments {
		m := motion()
		c := sheet(2, 2)
		var left, right point
		for n := range 35 * 30 {
			at := float64(n) / 30
			p := poseAt(look(i), m, at)
			p.drawInstrument(c) // sets the hands
			if n > 0 {
				limit := 34.0
				if d := max(p.left.minus(left).length(), p.right.minus(right).length()); d > limit {
					t.Errorf("instrument %d: a hand jumps by %.0f at %.2f s", i, d, at)
				}
			}
			left, right = p.left, p.right
			for _, hand := range []point{left, right} {
				if math.IsNaN(hand.x) || hand.x < 60 || hand.x > 580 || hand.y < 90 || hand.y > 380 {
					t.Fatalf("instrument %d: a hand is at %v at %.2f s", i, hand, at)
				}
			}
		}
	}
}

// Sound and picture of a note go together: silent before it, loud soon after.
func TestSounding(t *testing.T) {
	m := motion()
	for _, n := range m.notes[:1] {
		if got := m.sounding(n.From - 0.01); got != 0 {
			t.Errorf("%.2f before the first note", got)
		}
		if got := m.sounding(n.From + 0.07); got != n.Level {
			t.Errorf("%.2f in the first note, want %g", got, n.Level)
		}
	}
	last := m.notes[len(m.notes)-1]
	if got := m.sounding(last.To + 1); got > 0.01 {
		t.Errorf("%.2f a second after the last note", got)
	}
	if since, level := m.since(10.1); math.Abs(since-0.1) > 1e-9 || level != 0.7 {
		t.Errorf("since is %v at level %v", since, level)
	}
	if got := m.until(9.5); math.Abs(got-0.5) > 1e-9 {
		t.Errorf("until is %v", got)
	}
	if m.until(99) < 1000 || m.pitch(0) != 88 || m.pitch(99) != float64(last.Pitch) {
		t.Error("the ends of the tune")
	}
}

func TestNodAndBreath(t *testing.T) {
	m := motion()
	for i := range 10 {
		if got := m.nod(0.68 * float64(i)); math.Abs(got-1) > 1e-9 {
			t.Errorf("nod on beat %d is %v", i, got)
		}
		if got := m.nod(0.68 * (float64(i) + 0.5)); got > 1e-9 {
			t.Errorf("nod between beats is %v", got)
		}
	}
	if got := m.nod(-1); got != 0 {
		t.Errorf("nod before the guide is %v", got)
	}
	if m.breath(9.9) < 0.9 || m.breath(5) > 0.6 {
		t.Errorf("breath %.2f before playing, %.2f while waiting", m.breath(9.9), m.breath(5))
	}
	for at := 0.0; at < 30; at += 0.01 {
		if b := m.breath(at); b < 0 || b > 1 {
			t.Fatalf("breath %v", b)
		}
	}
}

// Every player at three moments against a stored picture, within a tolerance
// that rounding on another processor stays in. After a change of the drawing:
// go test ./assemble/demo/figure -update, and look at the pictures.
func TestGolden(t *testing.T) {
	const w, h = 160, 90
	got := image.NewRGBA(image.Rect(0, 0, 3*w, len(instruments)*h))
	for row, i := range instruments {
		s := NewStage(look(i), motion(), View{W: w, H: h})
		f := NewFrame(w, h)
		for column, at := range []float64{3, clapTime, 12.5} {
			s.Draw(f, at)
			draw.Draw(got, image.Rect(column*w, row*h, column*w+w, row*h+h), f.Image(), image.Point{}, draw.Src)
		}
	}
	path := filepath.Join("testdata", "players.png")
	if *update {
		out, err := os.Create(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := png.Encode(out, got); err != nil {
			t.Fatal(err)
		}
		if err := out.Close(); err != nil {
			t.Fatal(err)
		}
		return
	}
	in, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer in.Close()
	want, err := png.Decode(in)
	if err != nil {
		t.Fatal(err)
	}
	if want.Bounds() != got.Bounds() {
		t.Fatalf("the golden picture is %v", want.Bounds())
	}
	off := map[string]int{}
	for y := range got.Bounds().Dy() {
		for x := range got.Bounds().Dx() {
			r1, g1, b1, _ := got.At(x, y).RGBA()
			r2, g2, b2, _ := want.At(x, y).RGBA()
			for _, d := range []int{int(r1) - int(r2), int(g1) - int(g2), int(b1) - int(b2)} {
				if d > 12<<8 || d < -12<<8 {
					off[fmt.Sprintf("player %d, moment %d", y/h, x/w)]++
					break
				}
			}
		}
	}
	for where, n := range off {
		if n > w*h/200 {
			t.Errorf("%s: %d pixels differ", where, n)
		}
	}
}
