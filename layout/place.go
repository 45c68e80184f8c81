package layout

import "math"

// Mode says how a picture goes into a tile of another aspect.
type Mode string

// The modes, as written in a manifest.
const (
	Crop Mode = "crop" // fill the tile, cut what does not fit
	Fit  Mode = "fit"  // show everything, leave background at two sides
)

// Focus is the point of a picture to keep in view and how much to enlarge it.
// X and Y run from 0 (left, top) to 1 (right, bottom); Zoom is at least 1.
type Focus struct{ X, Y, Zoom float64 }

// Middle is the focus nobody asked for: the centre, not enlarged.
var Middle = Focus{0.5, 0.5, 1}

// Placement is which part of a picture is shown, in pixels of the upright
// picture, and where on the canvas. Both rectangles have even position and
// size; Source never reaches outside the picture.
type Placement struct{ Source, Target Rect }

// Place decides which part of a w by h picture fills which part of tile. The
// picture is upright and has square pixels.
//
// Crop shows the largest window of the tile's aspect, made smaller by the
// zoom; Target is the whole tile. Fit shows a window of the picture's own
// aspect; Target is the largest rectangle of that aspect, centred in the
// tile. The window is centred on the focus and pushed back inside at the
// edges.
//
// Sides are even: one is cut, the other follows it to the nearest even pixel,
// so the aspect is off by about a pixel of the smaller rectangle. Odd pictures
// lose their last column or row.
//
// Errors are *ArgumentError: a picture under 2x2 or over MaxCanvas, a tile
// that is not even, an unknown mode, a focus outside 0 to 1, a zoom below 1,
// above 1000 or so large that no 2x2 window is left, NaN anywhere.
func Place(w, h int, tile Rect, mode Mode, f Focus) (Placement, error) {
	if err := checkPlace(w, h, tile, mode, f); err != nil {
		return Placement{}, err
	}
	zw, zh := float64(w)/f.Zoom, float64(h)/f.Zoom
	if zw < 2 || zh < 2 {
		return Placement{}, argument("zoom", "%v leaves nothing of a picture of %dx%d", f.Zoom, w, h)
	}
	p := Placement{Target: tile}
	if mode == Fit {
		p.Source.W, p.Source.H = floorEven(int(zw)), floorEven(int(zh))
		p.Target.W, p.Target.H = largest(float64(tile.W), float64(tile.H), tile.W, tile.H,
			float64(p.Source.W)/float64(p.Source.H))
		p.Target.X += floorEven((tile.W - p.Target.W) / 2)
		p.Target.Y += floorEven((tile.H - p.Target.H) / 2)
	} else {
		p.Source.W, p.Source.H = largest(zw, zh, w, h, float64(tile.W)/float64(tile.H))
	}
	p.Source.X = window(f.X, w, p.Source.W)
	p.Source.Y = window(f.Y, h, p.Source.H)
	return p, nil
}

// checkPlace refuses arguments that no placement can be made of.
func checkPlace(w, h int, tile Rect, mode Mode, f Focus) error {
	inUnit := func(v float64) bool { return v >= 0 && v <= 1 } // false for NaN
	switch {
	case w < 2 || h < 2 || w > MaxCanvas || h > MaxCanvas:
		return argument("picture", "%dx%d is not within 2 and %d pixels a side", w, h, MaxCanvas)
	case tile.W < 2 || tile.H < 2 || (tile.X|tile.Y|tile.W|tile.H)%2 != 0:
		return argument("tile", "%v is not even or has no area", tile)
	case mode != Crop && mode != Fit:
		return argument("fit", "%q is neither crop nor fit", string(mode))
	case !inUnit(f.X) || !inUnit(f.Y):
		return argument("focus", "%v, %v is not within 0 and 1", f.X, f.Y)
	case !(f.Zoom >= 1 && f.Zoom <= 1000):
		return argument("zoom", "%v is not within 1 and 1000", f.Zoom)
	}
	return nil
}

// largest returns the largest even rectangle of the given aspect (width over
// height) within boxW by boxH. The side that touches the box is cut down, the
// other is rounded to nearest but stays within capW by capH.
func largest(boxW, boxH float64, capW, capH int, aspect float64) (w, h int) {
	if boxW <= boxH*aspect {
		w = floorEven(int(boxW))
		h = nearEven(float64(w) / aspect)
	} else {
		h = floorEven(int(boxH))
		w = nearEven(float64(h) * aspect)
	}
	return min(max(w, 2), floorEven(capW)), min(max(h, 2), floorEven(capH))
}

// window returns the even start of a window of the given size, centred on the
// focus as far as the edges of full allow.
func window(focus float64, full, size int) int {
	at := nearEven(focus*float64(full) - float64(size)/2)
	return floorEven(max(0, min(at, full-size)))
}

// Distortion returns how much the placement stretches the picture: the horizontal
// scale over the vertical, minus 1. 0.01 draws a circle 1 % too wide.
func (p Placement) Distortion() float64 {
	sx := float64(p.Target.W) / float64(p.Source.W)
	sy := float64(p.Target.H) / float64(p.Source.H)
	if sx == 0 || sy == 0 || math.IsNaN(sx/sy) {
		return math.NaN()
	}
	return sx/sy - 1
}
