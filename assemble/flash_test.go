package assemble

import (
	"bytes"
	"testing"
)

// TestAFilmThatFlashesIsSaid films a lamp that goes on and off six times a
// second, one that glows, and a red one before a wall as bright as it is.
func TestAFilmThatFlashesIsSaid(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		name string
		rgb  func(k int) []byte
		bad  bool
		red  bool
	}{
		{"flicker", func(k int) []byte { g := byte(20 + 220*(k/2%2)); return []byte{g, g, g} }, true, false},
		{"glow", func(k int) []byte { g := byte(100 + k); return []byte{g, g, g} }, false, false},
		{"red", func(k int) []byte { return [][]byte{{150, 0, 0}, {78, 78, 78}}[k/2%2] }, true, true},
	} {
		s := newShort(t)
		var raw bytes.Buffer
		for k := range 48 {
			raw.Write(bytes.Repeat(c.rgb(k), 160*90))
		}
		s.encode(t, "a.mp4", "rgb24", 160, 90, raw.Bytes(), "-pix_fmt", "yuv420p")
		r := s.film(t, "  - {name: a, video: {file: intake/a.mp4, offset: 0.5}}", "aspect: 16:9", 320, 180).result
		f := r.Films[0].Flashes
		worst, other := f.Worst, f.Red
		if c.red {
			worst, other = other, worst
		}
		if f.TooMany != c.bad || c.bad && (worst < 5 || worst > 6) || !c.bad && worst > 1 || other > 0 {
			t.Errorf("%s: %+v", c.name, f)
		}
	}
}
