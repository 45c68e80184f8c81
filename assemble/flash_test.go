package assemble

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/ffmpeg"
)

// TestAFilmThatFlashesIsSaid films a lamp that goes on and off six times a
// second, one that glows, and a red one before a wall as bright as it is.
func TestAFilmThatFlashesIsSaid(t *testing.T) {
	tool := findTool(t)
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
		dir := t.TempDir()
		if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
			t.Fatal(err)
		}
		var raw bytes.Buffer
		for k := range 48 {
			raw.Write(bytes.Repeat(c.rgb(k), 160*90))
		}
		run(t, tool, ffmpeg.Command{Args: []string{"-f", "rawvideo", "-pix_fmt", "rgb24", "-s", "160x90", "-r", "24", "-i", "pipe:0",
			"-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-y", filepath.Join(dir, "intake", "a.mp4")}, Stdin: &raw})
		p := openTest(t, dir, fmt.Sprintf(colourManifest, "  - {name: a, video: {file: intake/a.mp4, offset: 0.5}}", "16:9", "320x180"))
		r, err := p.Render(t.Context(), RenderOptions{})
		if err != nil || len(r.Faults) > 0 {
			t.Fatal(err, r.Faults)
		}
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
