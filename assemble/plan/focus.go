package plan

import (
	"ripieno/assemble/production"
	"ripieno/layout"
)

// focusOf returns what a tile keeps in view of a take's picture, and how sure the
// player's place is when that decides it. What the manifest says of a crop goes
// before what is found in the picture.
func focusOf(t production.Take, f Facts, r layout.Rect) (layout.Focus, float64) {
	focus := layout.Focus{X: t.Crop.X, Y: t.Crop.Y, Zoom: t.Crop.Zoom}
	if !t.AutoCrop || f.Subject == nil || !f.Subject.Known() {
		return focus, 0
	}
	// The window's part of the picture, when it is cut to the tile.
	wide := float64(r.W) / float64(r.H) * float64(f.Picture.H) / float64(f.Picture.W)
	focus.X, focus.Y = f.Subject.Centre(min(1, wide), min(1, 1/wide))
	return focus, f.Subject.Sure
}

// whole is the part of a picture that is as good as all of it.
const whole = 0.95

// Cut returns the takes of whose picture a tile leaves out something or moves in on a part,
// by their names: those in which it matters where the player is.
func (p *Plan) Cut() map[string]bool {
	cut := map[string]bool{}
	for _, f := range p.Films {
		for _, s := range f.Shots {
			for i, t := range s.Tiles {
				if t.Conform < 0 {
					continue
				}
				pic := f.Conforms[t.Conform].Picture
				if s.Pushes(i) || float64(t.Source.W*t.Source.H) < whole*float64(pic.W*pic.H) {
					cut[t.Take] = true
				}
			}
		}
	}
	return cut
}
