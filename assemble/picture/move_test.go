package picture

import (
	"fmt"
	"testing"

	"ripieno/assemble/graph"
	"ripieno/assemble/plan"
	"ripieno/assemble/task"
	"ripieno/layout"
	"ripieno/layout/shot"
)

// A picture on its way is taken from the larger of the two sizes in which it is kept, so
// that it is as sharp when it leaves its place as it was there, and is cut to what both
// places show of it.
func TestAMovingPictureIsTheSharperOne(t *testing.T) {
	const frames = 12
	tile := func(hole, source layout.Rect, conform int, shown plan.Span) plan.Tile {
		return plan.Tile{Take: "a", Rect: hole, Hole: hole, Source: source, Fit: layout.Crop, Conform: conform,
			Shown: shown}
	}
	large, small := layout.Rect{W: 1280, H: 720}, layout.Rect{X: 640, W: 320, H: 320}
	whole, square := layout.Rect{W: 1280, H: 720}, layout.Rect{X: 280, W: 720, H: 720}
	film := func(shrinks bool) plan.Film {
		f := plan.Film{Canvas: layout.Canvas{W: 1280, H: 720}, Conforms: []plan.Conform{
			{Take: "a", Picture: plan.Picture{W: 1280, H: 720}, W: 1280, H: 720, Frames: plan.Span{To: 200}},
			{Take: "a", Picture: plan.Picture{W: 1280, H: 720}, W: 640, H: 360, Frames: plan.Span{To: 200}}}}
		before, after := plan.Span{To: 100}, plan.Span{From: 100 - frames, To: 200}
		a, b := tile(large, whole, 0, before), tile(small, square, 1, after)
		if !shrinks {
			a, b = tile(small, square, 1, before), tile(large, whole, 0, after)
		}
		f.Shots = []plan.Shot{{Span: before, Show: shot.Solo, Tiles: []plan.Tile{a}},
			{Span: plan.Span{From: 100, To: 200}, Show: shot.Tutti, Tiles: []plan.Tile{b},
				Into: plan.Transition{Kind: plan.Move, Frames: frames}}}
		return f
	}
	for _, shrinks := range []bool{true, false} {
		f := film(shrinks)
		c := composition{film: f, seg: plan.Segment{Span: plan.Span{From: 100 - frames, To: 100}, Shot: 1, Into: true},
			glides: f.Glides(1)}
		var into graph.Into
		c.move(&into, func(conform int) string { return fmt.Sprint("kept ", conform) },
			func(task.Ref[string]) string { return "" })
		if len(into.Moves) != 1 {
			t.Fatalf("%d pictures move", len(into.Moves))
		}
		m := into.Moves[0]
		windows := [2]layout.Rect{whole, square} // in pixels of the larger one
		if !shrinks {
			windows = [2]layout.Rect{square, whole}
		}
		if m.Piece.Path != "kept 0" || m.Piece.W != 1280 || m.Window != windows || m.Piece.Crop != windows[1] {
			t.Errorf("shrinks %v: of %s, %d wide, windows %v", shrinks, m.Piece.Path, m.Piece.W, m.Window)
		}
		if m.From != f.Shots[0].Tiles[0].Hole || m.Piece.Hole != f.Shots[1].Tiles[0].Hole || m.Piece.Count != frames {
			t.Errorf("shrinks %v: from %v to %v in %d frames", shrinks, m.From, m.Piece.Hole, m.Piece.Count)
		}
	}
}
