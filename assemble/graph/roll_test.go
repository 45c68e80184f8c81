package graph

import (
	"strings"
	"testing"

	"ripieno/layout"
)

// TestRollAndNames: a picture that moves and one that fades are inputs of
// their own; the roll keeps full colour until it lies on the card, and the
// names' weights go on where the stretch before ended.
func TestRollAndNames(t *testing.T) {
	g := Segment{
		Canvas: layout.Canvas{W: 320, H: 180}, Rate: fps30, Frames: 20,
		Scene: Scene{Overlay: "a.png", Roll: Roll{Path: "b.png", Step: 3}},
		Names: Names{Path: "c.png", Out: true, At: 4, Frames: 9},
	}
	cmd, err := Compose(g, Coding{}, "out.mp4")
	if err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"crop=320:180:0:n*3", "yuva444p", "overlay=format=yuv444",
		"fade=t=out:start_frame=0:nb_frames=10:alpha=1", "loop=loop=24:size=1", "trim=start_frame=5"} {
		if !strings.Contains(cmd.Graph, want) {
			t.Errorf("the graph lacks %q:\n%s", want, cmd.Graph)
		}
	}
	argv := strings.Join(cmd.Argv("-f", "g"), " ")
	for _, want := range []string{"-i a.png", "-i b.png", "-i c.png"} {
		if !strings.Contains(argv, want) {
			t.Errorf("the arguments lack %q:\n%s", want, argv)
		}
	}
	g.Names, g.Roll = Names{}, Roll{}
	if cmd, err = Compose(g, Coding{}, "out.mp4"); err != nil || strings.Contains(cmd.Graph, "fade") ||
		strings.Contains(cmd.Graph, "444") {
		t.Errorf("%v, %s", err, cmd.Graph)
	}
}

// TestABackdropOfTheCanvas is cut where the hole is, a small one stretched.
func TestABackdropOfTheCanvas(t *testing.T) {
	g := Segment{
		Canvas: layout.Canvas{W: 320, H: 180}, Rate: fps30, Frames: 20, Backdrop: "back.png", Scenery: true,
		Scene: Scene{Overlay: "a.png", Pieces: []Piece{{
			Path: "m.mp4", Start: 5, Count: 10, W: 100, H: 60, Crop: layout.Rect{W: 100,
				H: 60}, Hole: layout.Rect{X: 40, Y: 20, W: 100, H: 60},
		}}},
	}
	for scenery, want := range map[bool]string{true: "crop=100:60:40:20", false: "scale=100:60"} {
		g.Scenery = scenery
		cmd, err := Compose(g, Coding{}, "out.mp4")
		if err != nil || !strings.Contains(cmd.Graph, want) {
			t.Errorf("%v, the graph lacks %q:\n%s", err, want, cmd.Graph)
		}
	}
}
