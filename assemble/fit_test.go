package assemble

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/ffmpeg"
)

// TestWhatStandsBehindAFittedPicture looks beside three portrait pictures in
// wide tiles: background, a colour, and the take itself.
func TestWhatStandsBehindAFittedPicture(t *testing.T) {
	tool := findTool(t)
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		t.Fatal(err)
	}
	drawn{name: "p.mp4", w: 180, h: 320, pixel: 1}.write(t, tool, dir, 30)
	list := ""
	for i, behind := range []string{"", `, behind: "#806020"`, ", behind: blur"} {
		list += fmt.Sprintf("  - {name: take-%d, fit: fit%s, video: {file: intake/p.mp4, offset: 0.95}}\n", i, behind)
	}
	p := openTest(t, dir, fmt.Sprintf(colourManifest, list, "16:9", "960x540"))
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil || len(r.Faults) > 0 {
		t.Fatal(err, r.Faults)
	}
	keep(t, r.Output)
	f := decodeColour(t, tool, r.Output, 960, 540)
	side := func(i, down int) [3]float64 {
		tile := grid.Shots[0].Tiles[i]
		return f.mean(12, tile.X+tile.W/12, tile.Y+tile.H*down/10)
	}
	colour := func(r, g, b float64) [3]float64 {
		return luma709.encode([3]float64{r / 255, g / 255, b / 255}, 8, false)
	}
	for i, want := range [][3]float64{colour(0x14, 0x16, 0x1a), colour(0x80, 0x60, 0x20)} {
		for c, v := range side(i, 5) {
			if math.Abs(v-want[c]) > 3 {
				t.Errorf("beside picture %d is %.0f, want %.0f", i, side(i, 5), want)
				break
			}
		}
	}
	// The enlarged scene has the circle's lower half there, 153 darkened to 0.6.
	tile := grid.Shots[0].Tiles[2]
	if low := f.mean(12, tile.X+tile.W*3/10, tile.Y+tile.H*65/100)[0]; low < 80 || low > 100 {
		t.Errorf("beside the picture before itself is %.0f, want about %.0f", low, 16+(153-16)*0.6)
	}
	for i := range 3 {
		tile := grid.Shots[0].Tiles[i]
		if got := f.mean(12, tile.X+tile.W/2, tile.Y+tile.H*6/10)[0]; math.Abs(got-153) > 4 { // 160 in limited range
			t.Errorf("the middle of picture %d is %.0f", i, got)
		}
	}
}

// TestCropAutoKeepsThePlayer films a player at the right of a wide picture and
// shows it in a square tile.
func TestCropAutoKeepsThePlayer(t *testing.T) {
	tool := findTool(t)
	dir := t.TempDir()
	if err := os.Mkdir(filepath.Join(dir, "intake"), 0o777); err != nil {
		t.Fatal(err)
	}
	const w, h = 320, 180
	var raw bytes.Buffer
	for k := range 240 { // 10 s, a key frame a second
		pix := make([]byte, w*h)
		for y := range h {
			for x := range w {
				pix[y*w+x] = byte(70 + 20*(x/16%2) + 10*(y/16%2))
			}
		}
		cx := 245 + int(math.Round(8*math.Sin(float64(k)/7)))
		for y := 40; y < 150; y++ {
			for x := cx - 20; x < cx+20; x++ {
				pix[y*w+x] = byte(180 + (x+y)%40)
			}
		}
		raw.Write(pix)
	}
	run(t, tool, ffmpeg.Command{Args: []string{"-f", "rawvideo", "-pix_fmt", "gray", "-s", "320x180", "-r", "24", "-i", "pipe:0",
		"-c:v", "libx264", "-preset", "ultrafast", "-g", "24", "-pix_fmt", "yuv420p", "-y", filepath.Join(dir, "intake", "p.mp4")}, Stdin: &raw})
	p := openTest(t, dir, fmt.Sprintf(colourManifest, "  - {name: a, crop: auto, video: {file: intake/p.mp4, offset: 0}}\n  - {name: b, video: {file: intake/p.mp4, offset: 0}}", "1:1", "640x360"))
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	auto, middle := grid.Shots[0].Tiles[0], grid.Shots[0].Tiles[1]
	if auto.AutoCrop < 0.4 || auto.Source.X > 217 || auto.Source.X+auto.Source.W < 273 || auto.Source.X < middle.Source.X+40 {
		t.Errorf("confidence %.2f, source %+v; the player is from 217 to 273", auto.AutoCrop, auto.Source)
	}
	if middle.Source.X != 70 || middle.AutoCrop != 0 {
		t.Errorf("without crop: auto the source is %+v", middle.Source)
	}
}
