package assemble

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"testing"

	"ripieno/assemble/ffmpeg"
)

// shortManifest is a film of one second at 24 frames a second; guide time 1 is
// its first frame.
const shortManifest = `version: 1
title: Colour Round
tempo:
  count_in: {measures: 1, cue: {measure: 1, beat: 1}}
  changes: [{measure: 1, meter: 2/4, bpm: 120}]
  measures: 1
release: yes
takes:
%s
mix: {balance: manual}
picture: {fps: 24, gutter: 0, labels: false, lead_in: 0, tail: 0, %s}
deliver: [{name: final, canvas: %dx%d}]
`

// short makes takes and a film of a second of them.
type short struct {
	tool *ffmpeg.Tool
	dir  string
}

func newShort(t *testing.T) short {
	t.Helper()
	s := short{findTool(t), t.TempDir()}
	if err := os.Mkdir(s.file(""), 0o777); err != nil {
		t.Fatal(err)
	}
	return s
}

// file returns the path of a take's file.
func (s short) file(name string) string { return filepath.Join(s.dir, "intake", name) }

// encode makes a take's file from raw frames, 24 a second.
func (s short) encode(t *testing.T, name, format string, w, h int, frames []byte, args ...string) {
	t.Helper()
	all := append([]string{"-f", "rawvideo", "-pix_fmt", format, "-s", fmt.Sprintf("%dx%d", w, h), "-r", "24", "-i",
		"pipe:0",
		"-c:v", "libx264", "-preset", "ultrafast"}, args...)
	run(t, s.tool, ffmpeg.Command{Args: append(all, "-y", s.file(name)), Stdin: bytes.NewReader(frames)})
}

// join makes one file of several streams of H.264, which may differ in size.
func (s short) join(t *testing.T, name, rate string, parts ...string) {
	t.Helper()
	var all []byte
	for _, p := range parts {
		b, err := os.ReadFile(s.file(p))
		if err != nil {
			t.Fatal(err)
		}
		all = append(all, b...)
	}
	run(t, s.tool, ffmpeg.Command{Args: []string{"-r", rate, "-f", "h264", "-i", "pipe:0", "-c", "copy", "-y",
		s.file(name)}, Stdin: bytes.NewReader(all)})
}

// open writes the manifest and opens the production. takes are lines of the
// manifest, picture more keys of picture.
func (s short) open(t *testing.T, takes, picture string, w, h int) *Production {
	t.Helper()
	return openTest(t, s.dir, fmt.Sprintf(shortManifest, takes, picture, w, h))
}

// shortFilm is a finished short film, with its plan and its decoded picture.
type shortFilm struct {
	tiles  []GridTile
	result RenderResult
	colourFilm
}

// film renders the production and reads the film back. Nothing may be wrong.
func (s short) film(t *testing.T, takes, picture string, w, h int) shortFilm {
	t.Helper()
	p := s.open(t, takes, picture, w, h)
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	r, err := p.Render(t.Context(), RenderOptions{})
	p.Close()
	if err != nil || len(r.Faults) > 0 {
		t.Fatal(err, r.Faults)
	}
	keep(t, r.Output)
	return shortFilm{grid.Shots[0].Tiles, r, decodeColour(t, s.tool, r.Output, w, h)}
}

// keep copies a film to where a person can look at it, when asked to.
func keep(t *testing.T, path string) {
	t.Helper()
	dir := os.Getenv("RIPIENO_KEEP_FILMS")
	if dir == "" {
		return
	}
	b, err := os.ReadFile(path)
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, t.Name()+filepath.Ext(path)), b, 0o666)
	}
	if err != nil {
		t.Error(err)
	}
}

// colourFilm is a decoded film in yuv420p.
type colourFilm struct {
	w, h   int
	frames [][]byte
}

// decodeColour reads a film back, with more options for what of it.
func decodeColour(t *testing.T, tool *ffmpeg.Tool, path string, w, h int, more ...string) colourFilm {
	t.Helper()
	var pix bytes.Buffer
	args := append([]string{"-i", path, "-map", "0:v"}, more...)
	run(t, tool, ffmpeg.Command{Args: append(args, "-f", "rawvideo", "-pix_fmt", "yuv420p", "pipe:1"), Stdout: &pix})
	f := colourFilm{w: w, h: h}
	size := w * h * 3 / 2
	for raw := pix.Bytes(); len(raw) >= size; raw = raw[size:] {
		f.frames = append(f.frames, raw[:size])
	}
	return f
}

// mean returns Y, Cb and Cr averaged over 9 by 9 pixels round a place.
func (f colourFilm) mean(frame, x, y int) (m [3]float64) {
	pix := f.frames[frame]
	for dy := -4; dy <= 4; dy++ {
		for dx := -4; dx <= 4; dx++ {
			px, py := x+dx, y+dy
			m[0] += float64(pix[py*f.w+px]) / 81
			c := f.w*f.h + py/2*(f.w/2) + px/2
			m[1] += float64(pix[c]) / 81
			m[2] += float64(pix[c+f.w*f.h/4]) / 81
		}
	}
	return m
}

// middle returns mean at a place of a tile, in parts of its width and height.
func (f shortFilm) middle(frame, tile int, across, down float64) [3]float64 {
	r := f.tiles[tile]
	return f.mean(frame, r.X+int(across*float64(r.W)), r.Y+int(down*float64(r.H)))
}

// reopen opens a production again with other settings. It is closed when the
// test ends.
func reopen(t *testing.T, p *Production, change func(*Settings)) *Production {
	t.Helper()
	set := p.Settings()
	change(&set)
	if err := p.Close(); err != nil {
		t.Fatal(err)
	}
	return openWith(t, set)
}
