package assemble

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"ripieno/assemble/media"
)

// TestEveryRateShowsTheNearestFrame films at every rate cameras have and
// renders at others: each frame of the film shows the frame of the take whose
// time is nearest. (At 30 frames a second, and with drift, the test of the film
// measures the same.)
func TestEveryRateShowsTheNearestFrame(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	var takes []placedTake
	for i, source := range []struct {
		rate string
		fps  float64
	}{{"24", 24}, {"25", 25}, {"30", 30}, {"50", 50}, {"60000/1001", 60000.0 / 1001}, {"60", 60}} {
		m := marked{name: fmt.Sprintf("t%d.mp4", i), id: i + 1, rate: source.rate, fps: source.fps,
			frames: int(3 * source.fps), audio: i == 0, channels: 1}
		takes = append(takes, placedTake{marked: m, offset: 4.0031 + 0.0412*float64(i)})
		m.write(t, tool, dir)
	}
	for rate, fps := range map[string]float64{"25": 25, "59.94": 60000.0 / 1001} {
		// One measure: the film goes from guide time 3 to 7, the takes from 4 to 7.
		change := strings.NewReplacer("fps: 30", "fps: "+rate, "\n  measures: 2", "\n  measures: 1")
		p := openTest(t, dir, change.Replace(manifestOf(takes, "")))
		grid, err := p.Grid(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		r, err := p.Render(t.Context(), RenderOptions{})
		p.Close()
		if err != nil || len(r.Faults) > 0 {
			t.Fatal(err, r.Faults)
		}
		f := decodeFilm(t, tool, r.Output, 640, 360)
		f.fps, f.start = fps, grid.GuideAtZero
		if want := int(4 * fps); len(f.frames) < want || len(f.frames) > want+5 {
			t.Fatalf("%d frames at %s, want %d", len(f.frames), rate, want)
		}
		for i, take := range takes {
			checkTile(t, f, grid.Shots[0].Tiles[i], take)
		}
	}
}

// TestAFilmIn4K renders half a second of 3840x2160 really and reads a frame of it:
// colours within 3 code values, a circle round within 2 %.
func TestAFilmIn4K(t *testing.T) {
	t.Parallel()
	s := newShort(t)
	barsTake{name: "bars.mp4", matrix: luma709, bits: 8, level: 1,
		args: "-color_primaries bt709 -color_trc bt709 -colorspace bt709 -color_range tv"}.write(t, s)
	drawn{name: "turned.mp4", w: 320, h: 180, pixel: 1, turned: 90}.write(t, s, 28)
	text := fmt.Sprintf(shortManifest, "  - {name: a, video: {file: intake/bars.mp4, offset: 0.45}}\n  - {name: b, "+
		"fit: fit, video: {file: intake/turned.mp4, offset: 0.45}}", "aspect: 16:9", 3840, 2160)
	p := openTest(t, s.dir, strings.Replace(text, "bpm: 120", "bpm: 240", 1))
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil || len(r.Faults) > 0 || r.Frames != 12 {
		t.Fatal(err, r.Faults, r.Frames)
	}
	info, err := media.Probe(t.Context(), s.tool, r.Output)
	if err != nil || info.Video.W != 3840 || info.Video.H != 2160 || info.Video.Frames != 12 {
		t.Fatalf("%v: %+v", err, info.Video)
	}
	f := shortFilm{grid.Shots[0].Tiles, r, decodeColour(t, s.tool, r.Output, 3840, 2160, "-vf", `select=eq(n\,6)`,
		"-frames:v", "1")}
	for k, bar := range bars {
		got := f.middle(0, 0, float64(2*k+1)/float64(2*len(bars)), 0.5)
		for c, want := range sdr(bar) {
			if math.Abs(got[c]-want) > 3 {
				t.Errorf("bar %v is %.1f, want %.1f", bar, got, sdr(bar))
				break
			}
		}
	}
	across, down, q := circle(f.frames[0], f.w, f.tiles[1])
	if math.Abs(across/down-1) > 0.02 || q[0] < q[1]+60 || q[1] > q[2] {
		t.Errorf("the circle is %.3f times as wide as high, its quarters %.0f", across/down, q)
	}
}
