package assemble

import (
	"bytes"
	"testing"
)

// TestTheEnsembleIsTheGround makes films whose ground is the blurred ensemble of a take,
// one brighter than the other: beside the tiles is the light of each, darkened.
func TestTheEnsembleIsTheGround(t *testing.T) {
	const w, h = 160, 90
	s := newShort(t)
	for name, y := range map[string]byte{"bright.mp4": 200, "dark.mp4": 50} {
		frame := append(bytes.Repeat([]byte{y}, w*h), bytes.Repeat([]byte{128}, w*h/2)...)
		s.encode(t, name, "yuv420p", w, h, bytes.Repeat(frame, 48))
	}
	const lines = "  - {name: a, crop: {x: 0.5}, video: {file: intake/dark.mp4, offset: 0.95}}\n" +
		"  - {name: b, crop: {x: 0.5}, video: {file: intake/bright.mp4, offset: 0.95}}\n"
	// The full scale of the limited 50 and 200, darkened to 0.4, and back. The first take is
	// above the second.
	light := func(y float64) float64 { return 16 + 0.4*(y-16) }
	f := s.film(t, lines, "aspect: 16:9, background: blur, margin: 200", 320, 180)
	for y, want := range map[int]float64{8: light(50), 172: light(200)} {
		for x := 10; x < 310; x += 20 {
			if got := f.mean(12, x, y)[0]; got < want-6 || got > want+6 {
				t.Errorf("the ground at %d,%d is %.0f, want about %.0f", x, y, got, want)
			}
		}
	}
}
