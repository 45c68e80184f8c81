package assemble

import (
	"bytes"
	"fmt"
	"math"
	"testing"
)

// downbeatManifest changes tempo and meter three times and holds once before
// measure 33. In seconds of guide time: a count-in of 0.25, 8 measures of 0.25,
// 11 of two beats of 0.2 with 0.3 held, 13 of 0.24.
const downbeatManifest = `version: 1
title: Downbeat Round
tempo:
  count_in: {measures: 1, cue: {measure: 1, beat: 1}}
  changes:
    - {measure: 1, meter: 1/4, bpm: 240}
    - {measure: 9, meter: 2/4, bpm: 300}
    - {measure: 20, meter: 1/4, bpm: 250}
  holds: [{at: m12, seconds: 0.3}]
  measures: 34
release: yes
takes:
  - {name: a, video: {file: intake/a.mp4, offset: 0}}
mix: {balance: manual}
picture: {fps: %s, gutter: 0, labels: false, lead_in: 0, tail: 0}
shots:
  - {from: start, show: card, text: x}
  - {from: m33, show: tutti}
deliver: [{name: final, canvas: 64x36}]
`

const measure33 = 0.25 + 8*0.25 + 11*2*0.2 + 0.3 + 13*0.24

// TestMeasure33FallsOnItsFrame cuts from a card to a white wall at measure 33
// and finds the frame in the film that first shows it: the one nearest to the
// time that the tempo map gives, at whole and broken rates.
func TestMeasure33FallsOnItsFrame(t *testing.T) {
	t.Parallel()
	for rate, fps := range map[string]float64{"25": 25, "29.97": 30000.0 / 1001} {
		s := newShort(t)
		s.encode(t, "a.mp4", "gray", 64, 36, bytes.Repeat([]byte{255}, 64*36*24*12), "-pix_fmt", "yuv420p")
		p := openTest(t, s.dir, fmt.Sprintf(downbeatManifest, rate))
		grid, err := p.Grid(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		r, err := p.Render(t.Context(), RenderOptions{})
		if err != nil || len(r.Faults) > 0 {
			t.Fatal(err, r.Faults)
		}
		f := decodeColour(t, s.tool, r.Output, 64, 36)
		first := -1
		for k := range f.frames {
			if f.mean(k, 8, 8)[0] > 200 {
				first = k
				break
			}
		}
		want := int(math.Round(measure33*fps)) - int(math.Round(grid.GuideAtZero*fps))
		if first != want {
			t.Errorf("at %s the wall is seen from frame %d of %d on, want %d", rate, first, len(f.frames), want)
		}
		if f.mean(want-1, 8, 8)[0] > 40 || f.mean(want, 8, 8)[0] < 230 {
			t.Errorf("at %s the frames beside the cut are %.0f and %.0f", rate, f.mean(want-1, 8, 8),
				f.mean(want, 8, 8))
		}
	}
}
