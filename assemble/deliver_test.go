package assemble

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"os"
	"strings"
	"testing"

	"ripieno/assemble/media"
)

// TestOneManifestManyCanvases renders every shape of film from one manifest:
// each has its own best grid, everybody in it at the right moment, its poster
// and its notes.
func TestOneManifestManyCanvases(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	takes := cast()[:3]
	for _, p := range takes {
		p.write(t, tool, dir)
	}
	canvases := [][2]int{{480, 270}, {270, 480}, {300, 300}, {320, 240}}
	var deliver []string
	for i, c := range canvases {
		deliver = append(deliver, fmt.Sprintf("{name: c%d, canvas: %dx%d, poster: m2}", i, c[0], c[1]))
	}
	text := strings.Replace(manifestOf(takes, ""), "[{name: final, canvas: 640x360}]", "["+strings.Join(deliver, ", ")+
		"]", 1) + `
chapters: [{at: m2, name: "Second = last; #2"}]
notes: [{from: m1, to: m2, text: "All & <each>"}, {from: m2.2, to: end, text: "b\n\nc"}]
`
	p := openTest(t, dir, text)
	r, err := p.Render(t.Context(), RenderOptions{})
	if err != nil || len(r.Faults) > 0 {
		t.Fatal(err, r.Faults)
	}
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	shapes := map[string]bool{}
	for i, g := range append([]GridResult{grid}, grid.Others...) {
		w, h := canvases[i][0], canvases[i][1]
		f := decodeFilm(t, tool, r.Films[i].Output, w, h)
		if len(f.frames) != filmLen {
			t.Fatalf("%s: %d frames", g.Name, len(f.frames))
		}
		poster, err := media.ReadPNG(r.Films[i].Poster)
		if err != nil || poster.Bounds().Dx() != w || poster.Bounds().Dy() != h {
			t.Fatalf("%s: poster %v, %v", g.Name, poster.Bounds(), err)
		}
		tiles := g.Shots[0].Tiles
		for k, take := range takes {
			tile := tiles[k]
			const at = 90 // measure 2 is guide time 6, output frame 90
			id, counter := readMark(f.frames[at], w, tile.X, tile.Y, tile.W, tile.H)
			if off := take.guide(float64(counter)/take.fps) - 6; id != take.id || math.Abs(off) > 0.021 {
				t.Errorf("%s: player %d is read as %d, %.3f s off", g.Name, take.id, id, off)
			}
			gray := make([]byte, w*h)
			for y := range h {
				for x := range w {
					v, _, _, _ := poster.At(x, y).RGBA()
					gray[y*w+x] = byte(v >> 8)
				}
			}
			if pid, pc := readMark(gray, w, tile.X, tile.Y, tile.W, tile.H); pid != id || pc != counter {
				t.Errorf("%s: the poster shows frame %d of player %d, the film frame %d of %d", g.Name, pc, pid,
					counter, id)
			}
		}
		shapes[fmt.Sprint(tiles[0].X == tiles[1].X, tiles[0].Y == tiles[1].Y, tiles[1].Y == tiles[2].Y)] = true
	}
	if len(shapes) < 2 {
		t.Error("every canvas has the same rows and columns")
	}
	checkBeside(t, p, r.Films[0])
}

// checkBeside reads the chapters and the notes of a film back.
func checkBeside(t *testing.T, p *Production, f FilmResult) {
	t.Helper()
	out, err := p.Tool().Probe(t.Context(), []string{"-v", "error", "-of", "json", "-show_chapters", f.Output})
	if err != nil {
		t.Fatal(err)
	}
	var got struct {
		Chapters []struct {
			Start string            `json:"start_time"`
			Tags  map[string]string `json:"tags"`
		}
	}
	if err := json.Unmarshal(out, &got); err != nil {
		t.Fatal(err)
	}
	if c := got.Chapters; len(c) != 2 || c[0].Tags["title"] != "Test Round" ||
		c[1].Tags["title"] != "Second = last; #2" || c[1].Start != "3.000000" {
		t.Errorf("chapters %+v", c)
	}
	if len(f.Notes) != 2 {
		t.Fatalf("notes in %q", f.Notes)
	}
	vtt, err := os.ReadFile(f.Notes[0])
	const want = "WEBVTT\n\n1\n00:00:01.000 --> 00:00:03.000\nAll &amp; &lt;each&gt;\n\n2\n00:00:03.500 --> " +
		"00:00:06.000\nb\nc\n"
	if err != nil || string(vtt) != want {
		t.Errorf("%v, %s", err, vtt)
	}
	// ffmpeg's own reader finds the same two texts.
	var srt bytes.Buffer
	run(t, p.Tool(), command(&srt, "-i", f.Notes[1], "-f", "srt", "pipe:1"))
	if !strings.Contains(srt.String(), "00:00:03,500 --> 00:00:06,000") {
		t.Errorf("ffmpeg reads %s", srt.String())
	}
}
