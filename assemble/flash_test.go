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
// second, and one that glows.
func TestAFilmThatFlashesIsSaid(t *testing.T) {
	tool := findTool(t)
	for _, c := range []struct {
		name string
		grey func(k int) byte
		bad  bool
	}{
		{"flicker", func(k int) byte { return byte(20 + 220*(k/2%2)) }, true},
		{"glow", func(k int) byte { return byte(100 + k) }, false},
	} {
		dir := t.TempDir()
		if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
			t.Fatal(err)
		}
		var raw bytes.Buffer
		for k := range 48 {
			raw.Write(bytes.Repeat([]byte{c.grey(k)}, 160*90))
		}
		run(t, tool, ffmpeg.Command{Args: []string{"-f", "rawvideo", "-pix_fmt", "gray", "-s", "160x90", "-r", "24", "-i", "pipe:0",
			"-c:v", "libx264", "-preset", "ultrafast", "-pix_fmt", "yuv420p", "-y", filepath.Join(dir, "intake", "a.mp4")}, Stdin: &raw})
		p := openTest(t, dir, fmt.Sprintf(colourManifest, "  - {name: a, video: {file: intake/a.mp4, offset: 0.5}}", "16:9", "320x180"))
		r, err := p.Render(t.Context(), RenderOptions{})
		if err != nil || len(r.Faults) > 0 {
			t.Fatal(err, r.Faults)
		}
		f := r.Films[0].Flashes
		if f == nil || f.TooMany != c.bad || c.bad && (f.Worst < 5 || f.Worst > 6) || !c.bad && f.Worst > 1 {
			t.Errorf("%s: %+v", c.name, f)
		}
	}
}
