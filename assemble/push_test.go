package assemble

import (
	"bytes"
	"math"
	"testing"
)

// TestPushInGrowsEvenly films a white bar in the middle of a still picture and measures
// it in every frame of a film with a push-in, to a fraction of a pixel: it grows evenly,
// without trembling, and is as wide as push_in says.
func TestPushInGrowsEvenly(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	const w, h = 160, 90
	var raw bytes.Buffer
	for range 72 {
		for range h {
			for x := range w {
				v := byte(16)
				if x >= 60 && x < 100 {
					v = 235
				}
				raw.WriteByte(v)
			}
		}
		raw.Write(bytes.Repeat([]byte{128}, w*h/2))
	}
	s.encode(t, "bar.mp4", "yuv420p", w, h, raw.Bytes(), "-qp", "1")
	f := s.film(t, "  - {name: a, crop: {x: 0.5, y: 0.5}, video: {file: intake/bar.mp4, offset: 0.95}}\n"+
		"shots: [{from: start, show: solo, take: a, push_in: 1.5, labels: false}]\n", "aspect: 16:9", w, h)
	n := len(f.frames)
	for k := range n {
		width := 0.0
		for x := range w {
			width += (f.mean(k, x, h/2)[0] - 16) / (235 - 16)
		}
		if want := 40 * (1 + 0.5*float64(k)/float64(n)); math.Abs(width-want) > 0.6 {
			t.Errorf("frame %d: the bar is %.2f wide, want %.2f", k, width, want)
		}
	}
}
