package framing

import (
	"math"
	"testing"

	"ripieno/layout/face"
	"ripieno/layout/motion"
)

// player returns somebody upright in the middle of a portrait picture.
func player() Person {
	return Person{Head: Box{0.4, 0.2, 0.6, 0.32}, Heads: Box{0.4, 0.2, 0.6, 0.32}, Body: Box{0.3, 0.25, 0.7, 0.9},
		Sure: 1}
}

// The window holds the head whatever its size is, and lies within the picture.
func TestTheWindowHoldsTheHead(t *testing.T) {
	for _, head := range []Box{{0.4, 0.2, 0.6, 0.32}, {0, 0, 0.2, 0.15}, {0.85, 0.6, 1, 0.72}, {0.1, 0.01, 0.25, 0.3}} {
		for _, body := range []Box{{}, {0.3, 0.25, 0.7, 0.9}, {0, 0.5, 0.4, 1}, {0.6, 0.1, 1, 0.5}} {
			p := Person{Head: head, Heads: head, Body: body, Sure: 1}
			for _, size := range [][2]float64{{1, 0.316}, {1, 0.45}, {0.45, 1}, {0.316, 1}, {0.7, 0.7}, {1, 1}} {
				w, h := size[0], size[1]
				x, y := p.Centre(w, h)
				const slack = 1e-9
				if x-w/2 < -slack || x+w/2 > 1+slack || y-h/2 < -slack || y+h/2 > 1+slack {
					t.Errorf("head %v, body %v: the window %v round %.3f, %.3f leaves the picture", head, body, size,
						x, y)
				}
				if !p.Keeps(w, h) {
					t.Errorf("a window of %v cannot hold %v", size, head)
				}
				if x-w/2 > head.Left+slack || x+w/2 < head.Right-slack || y-h/2 > head.Top+slack ||
					y+h/2 < head.Bottom-slack {
					t.Errorf("body %v: the window %v round %.3f, %.3f cuts the head %v", body, size, x, y, head)
				}
			}
		}
	}
}

// Where there is nothing below to be seen, the eyes stand at the upper third.
func TestEyesStandAtTheUpperThird(t *testing.T) {
	p := player()
	p.Body = Box{}
	_, y := p.Centre(1, 0.4)
	if eyes := (0.26 - (y - 0.2)) / 0.4; math.Abs(eyes-1.0/3) > 1e-9 {
		t.Errorf("the eyes are at %.3f of the window", eyes)
	}
}

// For the instrument the room above the head is less, but there is some.
func TestTheInstrumentComesAfterTheHead(t *testing.T) {
	p := player()
	_, y := p.Centre(1, 0.4)
	if top := y - 0.2; math.Abs(top-(0.2-leastAbove*0.12)) > 1e-9 {
		t.Errorf("the window begins at %.4f", top)
	}
	p.Body = Box{0.5, 0.25, 1, 0.9} // a trombone
	if x, _ := p.Centre(0.7, 1); math.Abs(x-0.65) > 1e-9 {
		t.Errorf("the window is round %.3f, though head and instrument fit into it", x)
	}
}

// What is larger than the window is kept in the middle of it, and said to be.
func TestAHeadThatDoesNotFit(t *testing.T) {
	p := Person{Head: Box{0.1, 0.2, 0.9, 0.8}, Heads: Box{0.1, 0.2, 0.9, 0.8}}
	if _, y := p.Centre(1, 0.4); p.Keeps(1, 0.4) || math.Abs(y-0.5) > 1e-9 {
		t.Errorf("a head of 0.6 in a window of 0.4 round %.2f", y)
	}
}

// Of two people the window shows both when it can, and the surer one else.
func TestTwoHeads(t *testing.T) {
	p := Find(Measured{W: 640, H: 360, Faces: []face.Face{
		{X: 0.3, Y: 0.4, Size: 0.12, Left: 0.3, Right: 0.3, Top: 0.4, Bottom: 0.4, Pictures: 8, Of: 8, Score: 400},
		{X: 0.6, Y: 0.4, Size: 0.12, Left: 0.6, Right: 0.6, Top: 0.4, Bottom: 0.4, Pictures: 8, Of: 8, Score: 300},
		// far behind
		{X: 0.9, Y: 0.3, Size: 0.04, Left: 0.9, Right: 0.9, Top: 0.3, Bottom: 0.3, Pictures: 8, Of: 8, Score: 300},
	}})
	if x, _ := p.Centre(0.6, 1); math.Abs(x-0.45) > 0.01 {
		t.Errorf("both fit into the window round %.3f", x)
	}
	if x, _ := p.Centre(0.2, 1); math.Abs(x-0.3) > 0.01 {
		t.Errorf("the narrow window is round %.3f", x)
	}
}

// Nobody, a camera in the hand and a picture without size leave the middle.
func TestNobodyLeavesTheMiddle(t *testing.T) {
	for _, m := range []Measured{{}, {W: 640, H: 360},
		{W: 640, H: 360, Moving: motion.Subject{Right: 1, Bottom: 1, Confidence: 0.1},
			Shape: motion.Head{Left: 0.1, Top: 0.1, Right: 0.2, Bottom: 0.2}}} {
		p := Find(m)
		if x, y := p.Centre(0.5, 0.5); x != 0.5 || y != 0.5 || p.Known() || !p.Keeps(0.1, 0.1) {
			t.Errorf("%+v: %+v round %v, %v", m, p, x, y)
		}
	}
}

// What covers a person is counted of what is in view: the head by its area, hands by how
// they move.
func TestCovered(t *testing.T) {
	moves := make(motion.Heat, motion.HeatSide*motion.HeatSide)
	const at = motion.HeatSide * 3 / 4 // hands low at both sides
	moves[at*motion.HeatSide+2], moves[at*motion.HeatSide+20] = 50, 150
	p := Person{Head: Box{0.4, 0.1, 0.6, 0.3}, Heads: Box{0.4, 0.1, 0.6, 0.3}, Moves: moves}
	whole, left := Box{0, 0, 1, 1}, Box{0, 0, 0.5, 1}
	for _, k := range []struct {
		name       string
		seen, over Box
		want       float64
	}{
		{"nothing", whole, Box{}, 0},
		{"a corner where nobody is", whole, Box{0, 0, 0.3, 0.3}, 0},
		{"half of the head", whole, Box{0.4, 0.1, 0.5, 0.3}, 0.5},
		{"the hand that moves less", whole, Box{0, 0.7, 0.4, 1}, 0.25},
		{"the other hand", whole, Box{0.6, 0.7, 1, 1}, 0.75},
		{"everything", whole, whole, 2},
		{"the only hand in view", left, Box{0, 0.7, 0.4, 1}, 1},
		{"what is cut away", left, Box{0.6, 0.7, 1, 1}, 0},
		{"a quarter of the head, half of which is in view", left, Box{0.4, 0.1, 0.5, 0.2}, 0.5},
	} {
		if got := p.Covered(k.seen, k.over); math.Abs(got-k.want) > 1e-9 {
			t.Errorf("%s: %.3f, want %.3f", k.name, got, k.want)
		}
	}
	if got := (Person{}).Covered(whole, whole); got != 0 {
		t.Errorf("of nobody %.3f is covered", got)
	}
}

// Where a camera is not on a stand, what moves says nothing of hands.
func TestMovesAreKnownOfAStillRoomOnly(t *testing.T) {
	moves := make(motion.Heat, motion.HeatSide*motion.HeatSide)
	for sure, want := range map[float64]bool{0: false, motion.Sure - 0.01: false, motion.Sure: true} {
		p := Find(Measured{W: 640, H: 360, Moves: moves, Moving: motion.Subject{Left: 0.3, Right: 0.7, Bottom: 1,
			Confidence: sure}})
		if got := len(p.Moves) > 0; got != want {
			t.Errorf("confidence %.2f: known is %v", sure, got)
		}
	}
}
