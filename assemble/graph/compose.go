package graph

import (
	"fmt"
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"

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

// encoderThreads returns how many threads x264 gets for a canvas. Its bytes depend on
// them, so neither the machine nor what else runs has a say. Segments are what
// runs in parallel: while they keep the cores busy, one thread each costs a
// twentieth less than two. Of a picture so large that memory lets no second
// segment run beside the first, two work on one.
func encoderThreads(c layout.Canvas) string {
	if c.W*c.H > 1920*1088 {
		return "2"
	}
	return "1"
}

// Compose stacks the pieces, lays the overlay with its frames and labels over them and
// encodes a closed run of frames that joins to others of the same coding without
// re-encoding. A rough cut has a coding of its own. It fails for an encoder without
// settings, and by a bug in the graph.
func Compose(g Segment, c Coding, dst string) (Command, error) {
	enc, err := c.of()
	if err != nil {
		return Command{}, err
	}
	if g.Rough {
		enc = rough
	}
	inputs := len(g.overlays())
	for _, p := range g.pieces() {
		inputs += 1 + len(p.More)
	}
	if g.gaps() > 0 {
		inputs++
	}
	if g.Marks.Path != "" {
		inputs++
	}
	if g.Names.Frames > 0 {
		inputs++
	}
	return build(inputs, func() *ffmpeg.Stream {
		backdrop := backdrops(g)
		s := scene(g.Scene, g, backdrop)
		if g.Into != nil {
			s = into(s, g, backdrop)
		}
		s = layNames(s, g)
		s = fade(s, g)
		s = layMarks(s, g.Marks, g.Rate)
		s = filter(s, "format", "pix_fmts=yuv420p")
		if g.Copy.Path == "" {
			return enc.output(s, g.Canvas, g.Rate, g.Frames, dst)
		}
		two := s.Split()
		return ffmpeg.MergeOutputs(
			enc.output(two.Get("0"), g.Canvas, g.Rate, g.Frames, dst),
			ffmpeg.Output([]*ffmpeg.Stream{g.Copy.of(two.Get("1"))}, g.Copy.Path, ffmpeg.KwArgs{
				"c:v": "rawvideo", "f": "rawvideo", "fps_mode": "passthrough", "frames:v": strconv.Itoa(g.Frames),
			}))
	})
}

// of makes the small copy of a picture.
func (c Copy) of(s *ffmpeg.Stream) *ffmpeg.Stream {
	s = filter(s, "scale", fmt.Sprintf("w=%d", c.W), fmt.Sprintf("h=%d", c.H), "flags=area", "in_color_matrix=bt709",
		"in_range=tv", "out_range=pc")
	return filter(s, "format", "pix_fmts=rgb24")
}

// scene returns the picture of a shot.
func scene(sc Scene, g Segment, backdrop backdropper) *ffmpeg.Stream {
	s := picture(sc.Overlay, "yuva420p")
	if len(sc.Pieces) == 0 {
		return layRoll(sc.Push.apply(setPace(still(s, g.Frames), g.Rate)), sc.Roll, g)
	}
	return ffmpeg.Filter([]*ffmpeg.Stream{stack(sc.Pieces, g, backdrop), s}, "overlay", ffmpeg.Args{"format=yuv420"})
}

// layRoll lays the moving picture over s. Both have full colour until they are
// one: letters that move by an odd number of rows would flicker in colour.
func layRoll(s *ffmpeg.Stream, r Roll, g Segment) *ffmpeg.Stream {
	if r.Path == "" {
		return s
	}
	roll := setPace(filter(still(picture(r.Path, "yuva444p"), g.Frames), "settb", "AVTB"), g.Rate)
	roll = filter(roll, "crop", strconv.Itoa(g.Canvas.W), strconv.Itoa(g.Canvas.H), "0", fmt.Sprintf("n*%d", r.Step),
		"exact=1")
	s = setPace(filter(filter(s, "format", "pix_fmts=yuv444p"), "settb", "AVTB"), g.Rate)
	return ffmpeg.Filter([]*ffmpeg.Stream{s, roll}, "overlay", ffmpeg.Args{"format=yuv444"})
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

// layNames lays the names over the picture.
func layNames(s *ffmpeg.Stream, g Segment) *ffmpeg.Stream {
	n := g.Names
	if n.Frames == 0 {
		return s
	}
	way := "in"
	if n.Out {
		way = "out"
	}
	// The filter counts frames from its first, whose weight is 0 or 1.
	skip := n.At + 1
	names := still(picture(n.Path, "yuva420p"), skip+g.Frames)
	names = filter(names, "fade", "t="+way, "start_frame=0", "nb_frames="+strconv.Itoa(n.Frames+1), "alpha=1")
	names = filter(names, "trim", "start_frame="+strconv.Itoa(skip))
	// Pictures come in twenty-fifths of a second, in which two frames can have
	// one time.
	names = setPace(filter(names, "settb", "AVTB"), g.Rate)
	s = setPace(filter(filter(s, "format", "pix_fmts=yuv420p"), "settb", "AVTB"), g.Rate)
	return ffmpeg.Filter([]*ffmpeg.Stream{s, names}, "overlay", ffmpeg.Args{"format=yuv420"})
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

// setPace gives frame N the time of frame N. Rounding matters: a time one tick
// early belongs to the frame before.
func setPace(s *ffmpeg.Stream, r shot.Rate) *ffmpeg.Stream {
	return filter(s, "setpts", fmt.Sprintf("round(N*%d/%d/TB)", r.Den, r.Num))
}

// still repeats a single picture for a number of frames.
func still(s *ffmpeg.Stream, frames int) *ffmpeg.Stream {
	return filter(s, "loop", "loop="+strconv.Itoa(frames-1), "size=1")
}

// picture reads one of our own images as BT.709. The pattern syntax of the
// image reader is off: a name is a name.
func picture(path, format string) *ffmpeg.Stream {
	s := ffmpeg.Input(path, ffmpeg.KwArgs{"f": "image2", "pattern_type": "none", "threads": "1"})
	s = filter(s, "scale", "out_color_matrix=bt709", "out_range=tv", "flags=bicubic+accurate_rnd+full_chroma_int")
	return filter(s, "format", "pix_fmts="+format)
}
