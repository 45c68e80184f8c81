package plan

import (
	"math"

	"ripieno/layout"
	"ripieno/layout/card"
	"ripieno/layout/shot"
)

// stripOf returns how many pixels at the foot of a tile a strip with the name takes
// in a shot, 0 for none.
func (f *Film) stripOf(s Shot, tile layout.Rect, facts Facts) int {
	if f.Look.Style != layout.Strip || facts.Picture == nil || s.LabelsTo <= s.From || s.Show == shot.Card {
		return 0
	}
	return card.StripHeight(f.Canvas, tile, f.Look.Screen)
}

// above returns a tile without a strip at its foot.
func above(tile layout.Rect, strip int) layout.Rect {
	tile.H -= strip
	return tile
}

// head returns where the heads of a take are on the canvas, which a name should not
// hide; zero where nothing is known of them.
func head(t Tile, facts Facts) layout.Rect {
	if facts.Subject == nil || facts.Picture == nil || t.Hole.W == 0 || t.Source.W == 0 {
		return layout.Rect{}
	}
	h, w, high := facts.Subject.Heads, float64(facts.Picture.W), float64(facts.Picture.H)
	if h.IsEmpty() {
		return layout.Rect{}
	}
	return onCanvas(t, h.Left*w, h.Top*high, h.Right*w, h.Bottom*high)
}

// onCanvas returns the part of a tile's picture, in its own pixels, that is seen on
// the canvas; zero where it is cut away.
func onCanvas(t Tile, x0, y0, x1, y1 float64) layout.Rect {
	sx, sy := float64(t.Hole.W)/float64(t.Source.W), float64(t.Hole.H)/float64(t.Source.H)
	at := func(v float64, from int, scale float64, to, size int) int {
		return to + min(max(int(math.Round((v-float64(from))*scale)), 0), size)
	}
	r := layout.Rect{X: at(x0, t.Source.X, sx, t.Hole.X, t.Hole.W), Y: at(y0, t.Source.Y, sy, t.Hole.Y, t.Hole.H)}
	r.W = at(x1, t.Source.X, sx, t.Hole.X, t.Hole.W) - r.X
	r.H = at(y1, t.Source.Y, sy, t.Hole.Y, t.Hole.H) - r.Y
	if r.W < 1 || r.H < 1 {
		return layout.Rect{}
	}
	return r
}
