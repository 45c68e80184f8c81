package assemble

import (
	"bytes"
	"encoding/xml"
	"fmt"
	"image"
	"image/color"
	"io"
	"os"
	"testing"

	"ripieno/assemble/media"
)

// TestSheetShowsRealFrames reads marks from the storyboard: each shot has the
// frame of its middle.
func TestSheetShowsRealFrames(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	takes := cast()[:2]
	for _, p := range takes {
		p.write(t, tool, dir)
	}
	text := fmt.Sprintf(testManifest, manifestLines(takes)+
		"  - {name: take-3, player: Vera Quill, part: Alto, expected: true}") + `
shots:
  - {from: start, show: card, text: title}
  - {from: m1, show: tutti}
  - {from: m2, show: solo, take: take-2}
`
	p := openTest(t, dir, text)
	r, err := p.Sheet(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	keep(t, r.Sheet)
	img, err := media.ReadPNG(r.Sheet)
	if err != nil {
		t.Fatal(err)
	}
	// The solo is the third of three on one row; its middle is output frame 135,
	// guide time 7.5.
	third := image.Rect(img.Bounds().Dx()*2/3, 0, img.Bounds().Dx(), img.Bounds().Dy())
	if _, counter := findMark(img, third); counter < 0 {
		t.Fatal("no mark on the storyboard")
	} else if off := takes[1].guide(float64(counter)/takes[1].fps) - 7.5; off > 0.021 || off < -0.021 {
		t.Errorf("the solo shows frame %d, %.3f s from its middle", counter, off)
	}
	svg, err := os.ReadFile(r.SVG)
	if err != nil || !bytes.Contains(svg, []byte("Player 2")) || bytes.Contains(svg, []byte("Vera Quill")) {
		t.Errorf("the drawing does not name those who are in the film, and them alone: %v", err)
	}
	for d := xml.NewDecoder(bytes.NewReader(svg)); ; {
		if _, err := d.Token(); err == io.EOF {
			break
		} else if err != nil {
			t.Fatal(err)
		}
	}
}

// findMark looks for a mark of the shape of a solo in part of a page.
func findMark(img image.Image, in image.Rectangle) (id, counter int) {
	gray := make([]byte, img.Bounds().Dx()*img.Bounds().Dy())
	w := img.Bounds().Dx()
	for y := range img.Bounds().Dy() {
		for x := range w {
			gray[y*w+x] = color.GrayModel.Convert(img.At(x, y)).(color.Gray).Y
		}
	}
	// The tile ends right of the last column, which is white above black.
	for y := in.Min.Y; y < in.Max.Y; y += 2 {
		for x := in.Min.X; x < in.Max.X-360; x += 2 {
			h := 0
			for x+10 < in.Max.X && y+h < in.Max.Y && h < 240 {
				h += 2
				if h < 150 || h > 230 {
					continue
				}
				if id, counter = readMark(gray, w, x, y, h*16/9, h); id == 2 && counter > 0 {
					return id, counter
				}
			}
		}
	}
	return 0, -1
}
