package assemble

import (
	"bytes"
	"math"
	"strings"
	"testing"

	"ripieno/assemble/intake"
)

// TestCheckAsksAboutASceneUpsideDown films a seated player with a phone that
// stood on its head and did not write that down: check asks, rotate mends it,
// and the same scene the right way up is not asked about.
func TestCheckAsksAboutASceneUpsideDown(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	const w, h = 320, 180
	film := func(name string, up bool) {
		var raw bytes.Buffer
		for k := range 240 { // 10 s, a key frame a second
			pix := make([]byte, w*h)
			cx := 150 + int(math.Round(8*math.Sin(float64(k)/7)))
			for y := range h {
				for x := range w {
					i := y*w + x
					if !up {
						i = w*h - 1 - i
					}
					pix[i] = byte(70 + 20*(x/16%2) + 10*(y/16%2))
					if y >= 50 && x >= cx-40 && x < cx+40 {
						pix[i] = byte(180 + (x-cx+y+400)%40)
					}
				}
			}
			raw.Write(pix)
		}
		s.encode(t, name, "gray", w, h, raw.Bytes(), "-g", "24", "-pix_fmt", "yuv420p")
	}
	film("up.mp4", true)
	film("down.mp4", false)
	p := s.open(t, `  - {name: down, video: {file: intake/down.mp4, offset: 0}}
  - {name: mended, video: {file: intake/down.mp4, offset: 0, rotate: 180}}
  - {name: lying, video: {file: intake/down.mp4, offset: 0, rotate: 90}}
  - {name: up, video: {file: intake/up.mp4, offset: 0}}`, "aspect: 16:9", 640, 360)
	r, err := p.Check(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"is upside down; if it is, write rotate: 180 ", "",
		"lies on its side; if it does, write rotate: 180 ", ""} {
		said := ""
		for _, f := range r.Takes[i].Findings {
			if f.Code == intake.CutOff {
				said = f.What
				if f.Level != intake.Ask || f.Sure > 0.7 {
					t.Errorf("%+v", f)
				}
			}
		}
		if (said == "") != (want == "") || !strings.Contains(said, want) {
			t.Errorf("take %s: %q, want %q", r.Takes[i].Name, said, want)
		}
	}
}
