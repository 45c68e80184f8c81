package graph

import (
	"fmt"
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/layout"
)

// Into is a transition over all frames of a segment: one scene dissolves into
// another while some tiles glide from their place in the first to that in the
// second. Neither scene holds the tiles that glide.
type Into struct {
	Scene
	Cover string // the second scene's overlay with everything, from which gliding tiles take their labels and cards
	Moves []Move // in the order in which they lie on each other
}

// Move is a tile on its way.
type Move struct {
	Piece *Piece      // as in the second scene; nil for a tile that is a card
	Tile  layout.Rect // in the second scene
	From  layout.Rect // in the first
}

// Fade brings the film out of black and back. All are frames; Total and At
// place the segment in its film.
type Fade struct {
	In, Out   int // lengths, 0 for none
	At, Total int
}

// into lays a transition over its first scene. In frame k of n the second
// scene has the weight (k+1)/(n+1): the frames before and behind show either
// alone.
func into(first *ffmpeg.Stream, g Segment, backdrop backdropper) *ffmpeg.Stream {
	n := g.Frames
	second := scene(g.Into.Scene, g, backdrop)
	// One frame of the first scene more in front, where the weight is 0.
	s := ffmpeg.Filter([]*ffmpeg.Stream{frontFrame(first, g), frontFrame(second, g)}, "xfade", ffmpeg.Args{
		"transition=fade", "offset=0", "duration=" + strconv.FormatFloat(float64((n+1)*g.Rate.Den)/float64(g.Rate.Num),
			'f', 9, 64)})
	s = setPace(filter(s, "trim", "start_frame=1", "end_frame="+strconv.Itoa(n+1)), g.Rate)
	if len(g.Into.Moves) == 0 {
		return s
	}
	cover := picture(g.Into.Cover, "yuva420p")
	covers := func(int) *ffmpeg.Stream { return cover }
	if len(g.Into.Moves) > 1 {
		split := cover.Split()
		covers = func(k int) *ffmpeg.Stream { return split.Get(strconv.Itoa(k)) }
	}
	for k, m := range g.Into.Moves {
		x, y, w, h := m.way(g)
		tile := filter(drawMoving(m, covers(k), g, backdrop), "scale", "w="+w, "h="+h, "eval=frame",
			"flags=bicubic+accurate_rnd")
		s = ffmpeg.Filter([]*ffmpeg.Stream{s, tile}, "overlay", ffmpeg.Args{"x=" + x, "y=" + y, "format=yuv420"})
	}
	return s
}

// frontFrame repeats the first frame once and gives the stream the constant
// rate that xfade asks for.
func frontFrame(s *ffmpeg.Stream, g Segment) *ffmpeg.Stream {
	s = filter(s, "format", "pix_fmts=yuv420p")
	s = filter(setPace(s, g.Rate), "tpad", "start=1", "start_mode=clone")
	return filter(setPace(s, g.Rate), "fps", "fps="+g.Rate.String())
}

// drawMoving returns the picture of a gliding tile at its size in the second scene.
func drawMoving(m Move, cover *ffmpeg.Stream, g Segment, backdrop backdropper) *ffmpeg.Stream {
	t := m.Tile
	cover = filter(cover, "crop", strconv.Itoa(t.W), strconv.Itoa(t.H), strconv.Itoa(t.X), strconv.Itoa(t.Y))
	if m.Piece == nil {
		return filter(setPace(still(cover, g.Frames), g.Rate), "format", "pix_fmts=yuv420p")
	}
	p := m.Piece
	s := piece(*p, g, backdrop)
	if p.Hole != t {
		s = filter(s, "pad", fmt.Sprintf("w=%d", t.W), fmt.Sprintf("h=%d", t.H),
			fmt.Sprintf("x=%d", p.Hole.X-t.X), fmt.Sprintf("y=%d", p.Hole.Y-t.Y), "color=black")
	}
	return ffmpeg.Filter([]*ffmpeg.Stream{s, cover}, "overlay", ffmpeg.Args{"format=yuv420"})
}

// way returns m's rectangle as expressions of a frame's time, the same as
// plan.Way's numbers. Time counts, not the number of the frame: overlay counts
// frames that it has read ahead.
func (m Move) way(g Segment) (x, y, w, h string) {
	part := fmt.Sprintf("((round(t*%d/%d)+1)/%d)", g.Rate.Num, g.Rate.Den, g.Frames+1)
	gentle := fmt.Sprintf("(%[1]s*%[1]s*(3-2*%[1]s))", part)
	edge := func(a, b int) string {
		if a == b {
			return strconv.Itoa(a)
		}
		return fmt.Sprintf("2*floor((%d+%s*(%d))/2+0.5)", a, gentle, b-a)
	}
	a, b := m.From, m.Tile
	x, y = edge(a.X, b.X), edge(a.Y, b.Y)
	w = fmt.Sprintf("%s-%s", edge(a.Right(), b.Right()), x)
	h = fmt.Sprintf("%s-%s", edge(a.Bottom(), b.Bottom()), y)
	return x, y, w, h
}

// fade darkens the frames of a segment that lie in the film's fades. The
// filter goes by time, so the segment borrows the film's time.
func fade(s *ffmpeg.Stream, g Segment) *ffmpeg.Stream {
	f := g.Fade
	seconds := func(frames int) string {
		return strconv.FormatFloat(float64(frames*g.Rate.Den)/float64(g.Rate.Num), 'f', 9, 64)
	}
	in, out := f.In > 0 && f.At < f.In, f.Out > 0 && f.At+g.Frames > f.Total-f.Out
	if !in && !out {
		return s
	}
	// With an alpha channel the filter would take 0 for black instead of 16.
	s = filter(s, "format", "pix_fmts=yuv420p")
	s = filter(setPace(s, g.Rate), "setpts", fmt.Sprintf("PTS+round(%d*%d/%d/TB)", f.At, g.Rate.Den, g.Rate.Num))
	if in {
		s = filter(s, "fade", "t=in", "st=0", "d="+seconds(f.In))
	}
	if out {
		s = filter(s, "fade", "t=out", "st="+seconds(f.Total-f.Out), "d="+seconds(f.Out))
	}
	return setPace(s, g.Rate)
}
