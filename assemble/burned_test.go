package assemble

import (
	"bytes"
	"os"
	"testing"

	"ripieno/assemble/ffmpeg"
	"ripieno/assemble/picture"
	"ripieno/layout/card"
)

// TestMarksAreOnTheirFrames reads the burned-in text of every frame back: of
// all texts of the film the one drawn is the one that looks most alike.
func TestMarksAreOnTheirFrames(t *testing.T) {
	t.Parallel()
	tool := findTool(t)
	dir := t.TempDir()
	smallProduction(t, dir)
	path := dir + "/production.yaml"
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	// Large enough to read, and more than one segment.
	data = bytes.Replace(data, []byte("canvas: 64x36"), []byte("canvas: 480x360"), 1)
	if err := os.WriteFile(path, data, 0o666); err != nil {
		t.Fatal(err)
	}
	p := openWith(t, Settings{Dir: dir})
	plain, err := p.Render(t.Context(), RenderOptions{Rough: true})
	if err != nil {
		t.Fatal(err)
	}
	r, err := p.Render(t.Context(), RenderOptions{Rough: true, Marks: true})
	if err != nil {
		t.Fatal(err)
	}
	// Only segments and the film are new: 3 shots and the join.
	if r.Tasks.Run != 4 || plain.Tasks.Run < 10 {
		t.Errorf("marks ran %d tasks, want 4 (without marks: %d)", r.Tasks.Run, plain.Tasks.Run)
	}
	grid, err := p.Grid(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	var pix bytes.Buffer
	run(t, tool, ffmpeg.Command{Args: []string{"-i", r.Output, "-map", "0:v", "-f", "rawvideo", "-pix_fmt", "gray",
		"pipe:1"}, Stdout: &pix})
	const w, h = 480, 360
	c, err := card.NewCounter(h/20, 19)
	if err != nil {
		t.Fatal(err)
	}
	var texts []string
	var drawn [][]byte
	for k := range r.Frames {
		texts = append(texts, picture.MarkText(p.Manifest().Tempo, grid.GuideAtZero+float64(k)/30))
		img := make([]byte, c.W*c.H)
		c.Draw(img, texts[k])
		drawn = append(drawn, img)
	}
	if pix.Len() != w*h*r.Frames {
		t.Fatalf("%d bytes of picture", pix.Len())
	}
	for k := range r.Frames {
		frame := pix.Bytes()[k*w*h:]
		best, least := -1, 0
		for i, img := range drawn {
			sum := 0
			for y := range c.H {
				for x := range c.W {
					d := int(img[y*c.W+x]) - int(frame[y*w+w-c.W+x])
					sum += d * d
				}
			}
			if best < 0 || sum < least {
				best, least = i, sum
			}
		}
		if best != k {
			t.Errorf("frame %d reads %q, want %q", k, texts[best], texts[k])
		}
	}
}
