package intake

import (
	"math"
	"strings"
	"testing"

	"ripieno/assemble/media"
	"ripieno/layout/motion"
)

// turned returns a picture turned clockwise by so many quarters.
func turned(g media.Gray, quarters int) media.Gray {
	for range quarters {
		from := g
		g = frame(from.H, from.W, func(x, y int) byte { return from.Pix[(from.H-1-x)*from.W+y] })
	}
	return g
}

// lyingAsked returns the finding of a cut picture, and what it asks to be turned by;
// 0 when it does not ask.
func lyingAsked(t *testing.T, f Facts) (finding Finding, turn int) {
	t.Helper()
	for _, x := range Judge(f) {
		if x.Code != CutOff {
			continue
		}
		if x.Level != Ask || x.Sure > 0.7 {
			t.Errorf("%+v", x)
		}
		for degrees, word := range map[int]string{90: "rotate: 90 ", 180: "rotate: 180 ", 270: "rotate: 270 "} {
			if strings.Contains(x.What, word) {
				turn = degrees
			}
		}
		return x, turn
	}
	return Finding{}, 0
}

// A scene that lies on its side, in a file that does not say so, is asked
// about, with the turn that mends it; an upright one is not, nor one in which
// two edges cut the player.
func TestASceneThatMayLieIsAskedAbout(t *testing.T) {
	for quarters := range 4 {
		for _, c := range []struct {
			name  string
			scene scene
			asked bool
		}{
			{"seated in the middle", scene{x: 0.5, top: 0.2, sway: 0.03}, true},
			{"seated to the left", scene{x: 0.35, top: 0.3, sway: 0.02}, true},
			{"seated far right", scene{x: 0.75, top: 0.15, sway: 0.02}, true},
			{"cut by the side as well", scene{x: 0.04, top: 0.2, sway: 0.02}, false},
			{"nearly at the side", scene{x: 0.16, top: 0.2, sway: 0.02}, false},
			{"bowing beyond the side", scene{x: 0.5, top: 0.2, sway: 0.01, bow: true}, false},
			{"higher than the picture", scene{x: 0.5, top: -0.1, sway: 0.02}, false},
		} {
			f := good()
			c.scene.quarters = quarters
			p := c.scene.look(uint64(quarters))
			video(&f).Picture = &p
			want := 0
			if c.asked {
				want = (360 - 90*quarters) % 360
			}
			x, turn := lyingAsked(t, f)
			if turn != want || strings.Contains(x.What, "lies on its side") != (turn%180 != 0) {
				t.Errorf("%s, turned by %d: asked for %d, want %d: %s (%+v)", c.name, 90*quarters, turn, want, x.What,
					p.Subject)
			}
			// What a turned file has to be turned by counts from its own zero.
			video(&f).Info.Video.Rotation = 90
			if x, turn := lyingAsked(t, f); want != 0 && turn != (want+90)%360 {
				t.Errorf("%s, turned by %d in a file turned by 90: asked for %d: %s", c.name, 90*quarters, turn, x.What)
			}
		}
	}
}

// On the thresholds, by numbers: how near to another edge the movement may end.
func TestLyingNeedsRoomAtTheOtherEdges(t *testing.T) {
	// reaching is movement that reaches exactly so far.
	reaching := func(left, top, right, bottom float64) motion.Subject {
		const tail = 0.08 // of [motion.Subject.Reach]
		return motion.Subject{
			Left: left + tail*(right-left), Right: right - tail*(right-left),
			Top: top + tail*(bottom-top), Bottom: bottom - tail*(bottom-top), Confidence: 0.6,
		}
	}
	for _, c := range []struct {
		name string
		s    motion.Subject
		turn int
	}{
		{"left", reaching(0, 0.12, 0.7, 0.88), 270},
		{"right", reaching(0.3, 0.12, 1, 0.88), 90},
		{"top", reaching(0.12, 0, 0.88, 0.7), 180},
		{"the lower edge is near", reaching(0, 0.12, 0.7, 0.92), 0},
		{"the lower edge cuts it too", reaching(0, 0.12, 0.7, 1), 0},
		{"the upper edge is near", reaching(0, 0.08, 0.7, 0.88), 0},
		{"the opposite edge is near", reaching(0, 0.12, 0.92, 0.88), 0},
		{"upright", reaching(0.12, 0.3, 0.88, 1), 0},
		{"no edge", reaching(0.12, 0.12, 0.88, 0.88), 0},
	} {
		f := good()
		video(&f).Picture.Subject = c.s
		x, turn := lyingAsked(t, f)
		if turn != c.turn {
			t.Errorf("%s: asked for %d, want %d: %s", c.name, turn, c.turn, x.What)
		}
		// Where the movement is not sure, nothing is said.
		video(&f).Picture.Subject.Confidence = math.Nextafter(motion.Sure, 0)
		if x, _ := lyingAsked(t, f); x.Code != "" {
			t.Errorf("%s: not sure, and told: %s", c.name, x.What)
		}
	}
}
