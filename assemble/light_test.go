package assemble

import (
	"fmt"
	"math"
	"testing"

	"ripieno/layout/light"
)

// TestMatchLight films one grey wall with five cameras, one too dark and one
// too red, and measures the film with and without match: light.
func TestMatchLight(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	var inputs, outputs []string
	list := ""
	for i, rgb := range []string{"0x808080", "0x828080", "0x7e7e80", "0x606060", "0x8d8080"} {
		inputs = append(inputs, "-f", "lavfi", "-i", "color="+rgb+":s=320x180:r=24:d=2")
		outputs = append(outputs, "-map", fmt.Sprint(i), "-vf",
			"scale=out_color_matrix=bt709:out_range=tv,format=yuv420p",
			"-c:v", "libx264", "-preset", "ultrafast", "-qp", "4", "-threads", "1", "-colorspace", "bt709", "-y",
			s.file(fmt.Sprint(i, ".mp4")))
		list += fmt.Sprintf("  - {name: take-%d, video: {file: intake/%d.mp4, offset: 0.5}}\n", i, i)
	}
	run(t, s.tool, command(nil, append(inputs, outputs...)...))
	for _, match := range []bool{false, true} {
		what := "nothing"
		if match {
			what = "light"
		}
		f := s.film(t, list, "match: "+what, 640, 360)
		at := func(i int) [3]float64 { return f.middle(12, i, 0.5, 0.5) }
		want := light.Linear((at(0)[0] - 16) / 219)
		dark, red := light.Linear((at(3)[0]-16)/219)/want, at(4)[2]-128
		if match && (math.Abs(math.Log(dark)) > 0.12 || math.Abs(red) > 3) || !match && (dark > 0.6 || red < 5) {
			t.Errorf("match: %s: the dark take has %.2f of the light, the red one %.1f of red", what, dark, red)
		}
	}
}
