package assemble

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"testing"

	"ripieno/assemble/intake"
)

// TestWhatStandsBehindAFittedPicture looks beside three portrait pictures in
// wide tiles: background, a colour, and the take itself.
func TestWhatStandsBehindAFittedPicture(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	drawn{name: "p.mp4", w: 180, h: 320, pixel: 1}.write(t, s, 30)
	list := ""
	for i, behind := range []string{"", `, behind: "#806020"`, ", behind: blur"} {
		list += fmt.Sprintf("  - {name: take-%d, fit: fit%s, video: {file: intake/p.mp4, offset: 0.95}}\n", i, behind)
	}
	f := s.film(t, list, "aspect: 16:9", 960, 540)
	side := func(i int, down float64) [3]float64 { return f.middle(12, i, 1.0/12, down) }
	colour := func(r, g, b float64) [3]float64 {
		return luma709.encode([3]float64{r / 255, g / 255, b / 255}, 8, false)
	}
	for i, want := range [][3]float64{colour(0x14, 0x16, 0x1a), colour(0x80, 0x60, 0x20)} {
		for c, v := range side(i, 0.5) {
			if math.Abs(v-want[c]) > 3 {
				t.Errorf("beside picture %d is %.0f, want %.0f", i, side(i, 0.5), want)
				break
			}
		}
	}
	// The enlarged scene has the circle's lower half there, 153 darkened to 0.6.
	if low := f.middle(12, 2, 0.3, 0.65)[0]; low < 80 || low > 100 {
		t.Errorf("beside the picture before itself is %.0f, want about %.0f", low, 16+(153-16)*0.6)
	}
	for i := range 3 {
		if got := f.middle(12, i, 0.5, 0.6)[0]; math.Abs(got-153) > 4 { // 160 in limited range
			t.Errorf("the middle of picture %d is %.0f", i, got)
		}
	}
}

// TestCropAutoKeepsThePlayer films a player at the right of a wide picture and
// shows it in a square tile.
func TestCropAutoKeepsThePlayer(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	const w, h = 320, 180
	var raw bytes.Buffer
	for k := range 240 { // 10 s, a key frame a second
		pix := make([]byte, w*h)
		for y := range h {
			for x := range w {
				pix[y*w+x] = byte(70 + 20*(x/16%2) + 10*(y/16%2))
			}
		}
		cx := 270 + int(math.Round(8*math.Sin(float64(k)/7)))
		for y := 40; y < 150; y++ {
			for x := cx - 20; x < cx+20; x++ {
				pix[y*w+x] = byte(180 + (x+y)%40)
			}
		}
		raw.Write(pix)
	}
	s.encode(t, "p.mp4", "gray", w, h, raw.Bytes(), "-g", "24", "-pix_fmt", "yuv420p")
	p := s.open(t, `  - {name: a, crop: auto, video: {file: intake/p.mp4, offset: 0}}
  - {name: b, crop: middle, video: {file: intake/p.mp4, offset: 0}}
  - {name: c, crop: auto, video: {file: intake/p.mp4, offset: 0, rotate: 90}}
  - {name: d, crop: auto, video: {file: intake/p.mp4, offset: 0, rotate: 180}}
  - {name: e, crop: auto, video: {file: intake/p.mp4, offset: 0, rotate: 270}}`, "aspect: 1:1", 640, 360)
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	auto, middle := grid.Shots[0].Tiles[0], grid.Shots[0].Tiles[1]
	if auto.AutoCrop < 0.4 || auto.Source.X > 242 || auto.Source.X+auto.Source.W < 298 ||
		auto.Source.X < middle.Source.X+40 {
		t.Errorf("confidence %.2f, source %+v; the player is from 242 to 298", auto.AutoCrop, auto.Source)
	}
	// Turned by the manifest, the player is where the right side went.
	for i, from := range map[int]int{2: 242, 3: 320 - 298, 4: 320 - 298} {
		got := grid.Shots[0].Tiles[i]
		at := got.Source.Y
		if i == 3 {
			at = got.Source.X
		}
		if got.Source.W != 180 || got.Source.H != 180 || at > from || at+180 < from+56 || (at > 70) != (from > 100) ||
			at == 70 {
			t.Errorf("take %s: source %+v; the player is from %d to %d", got.Take, got.Source, from, from+56)
		}
	}
	check, err := p.Check(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for i, want := range []string{"right", "right", "", "left", ""} { // upright, they sit in the middle
		said := ""
		for _, f := range check.Takes[i].Findings {
			if f.Code == intake.OffCentre {
				said = strings.Fields(f.What)[5]
			}
		}
		if said != want {
			t.Errorf("take %s sits %q of the middle, want %q", check.Takes[i].Name, said, want)
		}
	}
	if middle.Source.X != 70 || middle.AutoCrop != 0 {
		t.Errorf("with crop: middle the source is %+v", middle.Source)
	}
}

// TestAPersonsCropWins films a bright player who moves at the right of a dark picture, and
// looks at the pixels of three tiles: without a word and with crop: auto the player is
// there, with a crop of the left side only the left side is, whatever moves elsewhere.
func TestAPersonsCropWins(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	const w, h = 320, 180
	var raw bytes.Buffer
	for k := range 72 {
		pix := bytes.Repeat([]byte{60}, w*h)
		cx := 270 + int(math.Round(8*math.Sin(float64(k)/3)))
		for y := 40; y < 150; y++ {
			for x := cx - 20; x < cx+20; x++ {
				pix[y*w+x] = 220
			}
		}
		raw.Write(pix)
	}
	s.encode(t, "p.mp4", "gray", w, h, raw.Bytes(), "-g", "12", "-pix_fmt", "yuv420p", "-qp", "8")
	f := s.film(t, `  - {name: a, video: {file: intake/p.mp4, offset: 0}}
  - {name: b, crop: auto, video: {file: intake/p.mp4, offset: 0}}
  - {name: c, crop: {x: 0.2, y: 0.5, zoom: 1.2}, video: {file: intake/p.mp4, offset: 0}}
`, "aspect: 1:1", 300, 100)
	for i, want := range []bool{true, true, false} {
		bright, r := 0, f.tiles[i]
		for y := r.Y; y < r.Y+r.H; y++ {
			for x := r.X; x < r.X+r.W; x++ {
				if f.frames[12][y*f.w+x] > 150 {
					bright++
				}
			}
		}
		// The player is 40 by 110 of the 180 by 180 that the tile shows.
		if got := float64(bright) > 0.08*float64(r.W*r.H); got != want || !want && bright > 0 {
			t.Errorf("tile %d has %d bright pixels, the player is to be there: %v", i, bright, want)
		}
	}
}
