package graph

import (
	"ripieno/layout"
	"ripieno/layout/shot"
)

// Piece is one moving tile of a segment.
type Piece struct {
	Path string // mezzanine
	Skip int    // its first frame that is used
	// More are the mezzanines in which it goes on, each from its first frame.
	More  []Continued `key:"omitzero"`
	Start int         // frame of the segment at which it appears
	Count int         // how many frames of it are shown, at least 1
	Crop  layout.Rect // part of the mezzanine, even
	W, H  int         // the whole mezzanine
	Hole  layout.Rect // where on the canvas it shows
	// Inner is where in Hole the picture itself stands, before itself, enlarged
	// and blurred; the zero value is all of Hole.
	Inner layout.Rect
	Push  Push `key:"omitzero"`
}

// Continued is a mezzanine that goes on where another of the same size ends.
type Continued struct {
	Path  string
	Count int // frames of it that are shown
}

// Scene is the moving tiles of one shot and what lies over them.
type Scene struct {
	Pieces  []Piece
	Overlay string // full-canvas picture with transparent holes
	Roll    Roll
	Push    Push `key:"omitzero"` // of the overlay, where there are no pieces
}

// Roll is a picture higher than the canvas that moves up over the overlay, by
// the same number of pixels each frame.
type Roll struct {
	Path string // "" for none
	Step int    // pixels
}

// Segment is everything that is visible in a run of output frames.
type Segment struct {
	Canvas layout.Canvas
	Rate   shot.Rate
	Frames int
	Scene
	// Backdrop is a small picture of the background, stretched over a hole
	// while its take is not there.
	Backdrop string
	Scenery  bool // the backdrop is a picture of the whole canvas: a hole shows its own part
	Rough    bool
	Zscale   bool // this ffmpeg has the filter zscale
	Queues   bool // this ffmpeg starts a thread for each of several inputs, which can be forbidden
	Marks    Marks
	Into     *Into // a transition to another scene; nil for none
	Names    Names
	Fade     Fade
	Copy     Copy
}

// Copy is a second output of a segment: a small copy of every frame, raw bytes
// of red, green and blue from 0 to 255.
type Copy struct {
	Path string // empty for none
	W, H int
}

// Names are labels that come or go: a picture of them alone, laid over a scene
// without them. Frame k of n of the stretch has the weight (k+1)/(n+1), or
// what that leaves of 1.
type Names struct {
	Path   string
	Out    bool // they go
	At     int  // frames of the stretch before the segment
	Frames int  // of the stretch; 0 for no names
}

// pieces returns all moving tiles, those of a transition included.
func (g Segment) pieces() []Piece {
	list := g.Pieces
	if g.Into == nil {
		return list
	}
	list = append(list[:len(list):len(list)], g.Into.Pieces...)
	for _, m := range g.Into.Moves {
		list = append(list, m.Piece)
	}
	return list
}

// overlays returns all drawings that are laid over pieces.
func (g Segment) overlays() []string {
	list := []string{g.Overlay}
	if g.Roll.Path != "" {
		list = append(list, g.Roll.Path)
	}
	if g.Into != nil {
		list = append(list, g.Into.Overlay)
		if g.Into.Roll.Path != "" {
			list = append(list, g.Into.Roll.Path)
		}
		if g.Into.Leave > 0 {
			list = append(list, g.Into.Cover)
		}
		for _, path := range g.Into.Names {
			if path != "" {
				list = append(list, path)
			}
		}
	}
	return list
}

// gaps returns the number of stretches in which some piece is not there.
func (g Segment) gaps() int {
	n := 0
	for _, p := range g.pieces() {
		for _, frames := range []int{p.Start, g.Frames - p.Start - p.Count} {
			if frames > 0 {
				n++
			}
		}
	}
	return n
}

// Into is a transition over all frames of a segment: one scene becomes another. When
// tiles glide from their place in the first to that in the second, neither scene holds
// them: the first dissolves into bare ground, they glide, and the second comes.
type Into struct {
	Scene
	Cover string // the ground alone, behind what glides; "" when nothing leaves
	Moves []Move // in the order in which they lie on each other
	// Leave and Arrive are how many frames the first scene takes to go and the second
	// to come, before and behind the gliding.
	Leave  int `key:"omitzero"`
	Arrive int `key:"omitzero"`
	// Names are pictures of the names of gliding tiles, which go with the first scene
	// and come with the second; "" for none.
	Names [2]string `key:"omitzero"`
}

// Fade brings the film out of black and back. All are frames; Total and At
// place the segment in its film.
type Fade struct {
	In, Out   int // lengths, 0 for none
	At, Total int
}

// Move is a picture on its way.
type Move struct {
	Piece  Piece          // as in the second scene
	From   layout.Rect    // its place in the first
	Window [2]layout.Rect // the part of the mezzanine in the first and in the second
}
