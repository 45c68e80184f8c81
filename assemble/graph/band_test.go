package graph

import (
	"reflect"
	"slices"
	"strings"
	"testing"

	"ripieno/layout"
	"ripieno/layout/shot"
)

// twoRows is a band in the middle of a canvas with a tile that comes late.
func twoRows() Band {
	b := Band{Canvas: layout.Canvas{W: 640, H: 360}, Rate: shot.Rate{Num: 30, Den: 1}, Frames: 60,
		Rect: layout.Rect{Y: 100, W: 640, H: 120}, Backdrop: "file:/back.png"}
	for k := range 4 {
		b.Pieces = append(b.Pieces, Piece{Path: "file:/" + string(rune('a'+k)) + ".mp4", Count: 60,
			Crop: layout.Rect{W: 160, H: 90}, W: 160, H: 90,
			Hole: layout.Rect{X: 20 + k%2*160, Y: 110 + k/2*50, W: 160, H: 50}})
	}
	b.Pieces[3].Start, b.Pieces[3].Count = 20, 40
	return b
}

// TestABandStandsInItsOwnPlace: tiles keep their places on the canvas, which the band
// takes off, and a late tile's gap is filled as in a segment.
func TestABandStandsInItsOwnPlace(t *testing.T) {
	t.Parallel()
	c, err := ComposeBand(twoRows(), "file:/band.mp4")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"pad=w=640:h=120:x=20:y=10:color=black", "xstack=inputs=4", "0_0|160_0|0_50|160_50",
		"concat=n=2"} {
		if !strings.Contains(c.Graph, want) {
			t.Errorf("no %q in %s", want, c.Graph)
		}
	}
	args := c.Argv("-filter_complex_script", "graph")
	line := strings.Join(args, " ")
	for _, want := range []string{"-g 1", "-qp 16", "-frames:v 60", "-threads 1", "-colorspace bt709", "file:/band.mp4",
		"-r 30"} {
		if !strings.Contains(line, want) {
			t.Errorf("no %q in %s", want, line)
		}
	}
	if n := strings.Count(line, "-i "); n != 5 {
		t.Errorf("%d inputs: %s", n, line)
	}
	b := twoRows()
	b.Scenery = true
	if c, err = ComposeBand(b, "file:/band.mp4"); err != nil || !strings.Contains(c.Graph, "crop=160:50:180:160") {
		t.Errorf("a late tile shows its own part of the ground: %v, %s", err, c.Graph)
	}
}

// TestASegmentShowsABandAsATile that is neither cut nor scaled.
func TestASegmentShowsABandAsATile(t *testing.T) {
	t.Parallel()
	b := twoRows()
	g := Segment{Canvas: b.Canvas, Rate: b.Rate, Frames: b.Frames, Backdrop: "file:/back.png",
		Scene: Scene{Pieces: []Piece{b.Piece("file:/band.mp4")}, Overlay: "file:/over.png"}}
	c, err := Compose(g, Coding{}, "file:/segment.mp4")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.Contains(c.Graph, "pad=w=640:h=360:x=0:y=100") || strings.Contains(c.Graph, "crop=") ||
		strings.Contains(c.Graph, "bicubic,") || strings.Contains(c.Graph, "zscale") {
		t.Errorf("%s", c.Graph)
	}
}

// TestEveryFileOfABandIsRenamed: what a band reads can lie anywhere.
func TestEveryFileOfABandIsRenamed(t *testing.T) {
	t.Parallel()
	var b Band
	n := 0
	fill(reflect.ValueOf(&b).Elem(), &n)
	var asked []string
	got := b.Rename(func(path string) string { asked = append(asked, path); return "new" })
	left := texts(reflect.ValueOf(got))
	if len(asked) != 3 || slices.Contains(left, asked[0]) || !slices.Equal(left, []string{"new", "new", "new"}) {
		t.Errorf("asked for %q, left %q", asked, left)
	}
	if again := texts(reflect.ValueOf(b)); !slices.Equal(again, []string{asked[1], asked[2], asked[0]}) &&
		!slices.Equal(again, asked) {
		t.Errorf("the band itself changed: %q", again)
	}
}
