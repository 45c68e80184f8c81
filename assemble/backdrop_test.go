package assemble

import (
	"fmt"
	"image"
	"image/color"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"ripieno/assemble/fault"
	"ripieno/assemble/media"
)

// slope is a picture that grows brighter downwards, from lo to hi.
func slope(t *testing.T, path string, w, h int, lo, hi float64) {
	t.Helper()
	m := image.NewNRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		v := uint8(math.Round(lo + (hi-lo)*(float64(y)+0.5)/float64(h)))
		for x := range w {
			m.SetNRGBA(x, y, color.NRGBA{v, v, v, 255})
		}
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
		t.Fatal(err)
	}
	if err := media.WritePNG(path, m, -1); err != nil {
		t.Fatal(err)
	}
}

// TestAPictureBehindEverything looks at a film whose background is a picture of
// another shape: between the tiles, where a take is not there yet, beside a
// fitted one, beside one with a picture of its own, and darkened under text.
func TestAPictureBehindEverything(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	takes := cast()
	takes = []placedTake{takes[0], takes[3]}
	for _, p := range takes {
		p.write(t, tool, dir)
	}
	drawn{name: "p.mp4", w: 180, h: 320, pixel: 1}.write(t, short{tool, dir}, 200)
	// Cut to 16:9, rows 75 to 525 of 600 are seen.
	slope(t, filepath.Join(dir, "art", "hall.png"), 800, 600, 40, 200)
	slope(t, filepath.Join(dir, "art", "wall.png"), 40, 40, 220, 220)
	more := "  - {name: tall, fit: fit, video: {file: intake/p.mp4, offset: 3}}\n" +
		"  - {name: walled, fit: fit, behind: art/wall.png, video: {file: intake/p.mp4, offset: 3}}\n"
	text := strings.Replace(manifestOf(takes, more), `"#204060"`, "art/hall.png", 1)
	p := openTest(t, dir, text+"shots: [{from: start, show: card, text: A title}, {from: m1, show: tutti}, {from: "+
		"m2, show: pair, takes: [tall, walled], transition: {kind: move, beats: 1}}]\n")
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil || len(r.Faults) > 0 {
		t.Fatal(err, r.Faults)
	}
	keep(t, r.Output)
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	f := decodeFilm(t, tool, r.Output, 640, 360)
	hall := func(y int) float64 { return 40 + 160*(75+(float64(y)+0.5)*450/360)/600 }
	look := func(what string, frame, x, y int, want float64) {
		t.Helper()
		if got := float64(f.frames[frame][y*f.w+x]); math.Abs(got-want) > 5 {
			t.Errorf("%s: frame %d is %.0f at %d,%d, want %.0f", what, frame, got, x, y, want)
		}
	}
	for y := 4; y < 356; y += 8 {
		look("between the tiles", 50, 4, y, hall(y))
		look("under a title", 10, 20, y, 0.28*hall(y)+0.72*18) // the plate #101215, see card
	}
	tiles := grid.Shots[1].Tiles
	late := tiles[1] // there from guide time 4.605, output frame 48, to 7.1, frame 123
	tall, walled := tiles[2], tiles[3]
	for y := late.Y + 6; y < late.Y+late.H-6; y += 8 {
		look("before a late take", 40, late.X+late.W/2, y, hall(y))
	}
	for y := tall.Y + 6; y < tall.Y+tall.H-6; y += 8 {
		look("beside a fitted take", 60, tall.X+tall.W/8, y, hall(y))
		look("beside a take with a picture of its own", 60, walled.X+walled.W/8, y, 220)
	}
	for _, tile := range []GridTile{tall, walled} {
		look("the take itself", 60, tile.X+tile.W/2, tile.Y+tile.H*6/10, 160)
	}

	// Another picture is another film, all but what hides it wholly.
	slope(t, filepath.Join(dir, "art", "two.png"), 40, 40, 90, 90)
	p.Manifest().Picture.Backdrop.Path = "art/two.png"
	if got := composed(t, p); !slices.Contains(got, "final from 0.0 s") {
		t.Errorf("with another background only %q is made again", got)
	}
}

// TestPicturesThatAreNone: what is wrong with a picture is said at its key.
func TestPicturesThatAreNone(t *testing.T) {
	t.Parallel()
	findTool(t)
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, "a.png"), []byte("no picture"), 0o666); err != nil {
		t.Fatal(err)
	}
	text := strings.Replace(fmt.Sprintf(testManifest, "  - {name: a, expected: true, fit: fit, behind: b.jpg}"),
		`"#204060"`, "a.png", 1)
	p := openTest(t, dir, text)
	_, err := p.Grid(t.Context())
	const want = `production.yaml:9:49: the picture "b.jpg" cannot be used: the file does not exist
production.yaml:11:69: the background "a.png" cannot be used: it is neither a PNG nor a JPEG picture`
	if err == nil || fault.KindOf(err) != fault.Media {
		t.Fatal(err)
	}
	if got := strings.ReplaceAll(err.Error(), dir+string(filepath.Separator), ""); got != want {
		t.Errorf("%s\nwant\n%s", got, want)
	}
}
