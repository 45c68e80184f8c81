package plan

import (
	"testing"

	"ripieno/layout"
	"ripieno/layout/framing"
)

// The head is where the tile shows it: scaled with the picture, moved with what is
// cut away, and nowhere when it is cut away itself.
func TestHeadOnTheCanvas(t *testing.T) {
	tile := Tile{
		Hole:   layout.Rect{X: 100, Y: 50, W: 400, H: 200},
		Source: layout.Rect{X: 200, Y: 100, W: 800, H: 400}, // half size
	}
	for _, c := range []struct {
		name string
		head framing.Box // shares of a picture of 1600x800
		want layout.Rect
	}{
		{"whole", framing.Box{Left: 0.25, Top: 0.25, Right: 0.5, Bottom: 0.5}, layout.Rect{X: 200, Y: 100, W: 200, H: 100}},
		{"cut at the top", framing.Box{Left: 0.25, Top: 0, Right: 0.5, Bottom: 0.25}, layout.Rect{X: 200, Y: 50, W: 200, H: 50}},
		{"outside", framing.Box{Left: 0, Top: 0, Right: 0.1, Bottom: 0.1}, layout.Rect{}},
		{"not known", framing.Box{}, layout.Rect{}},
	} {
		facts := Facts{Picture: &Picture{W: 1600, H: 800}, Subject: &framing.Person{Head: c.head, Heads: c.head}}
		if got := head(tile, facts); got != c.want {
			t.Errorf("%s: %v, want %v", c.name, got, c.want)
		}
	}
	if got := head(tile, Facts{Picture: &Picture{W: 1600, H: 800}}); got != (layout.Rect{}) {
		t.Errorf("nobody looked: %v", got)
	}
}
