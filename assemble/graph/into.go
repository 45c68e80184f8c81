package graph

import (
	"fmt"
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/layout"
	"ripieno/layout/shot"
)

// into lays a transition over its first scene. In frame k of n the second
// scene has the weight (k+1)/(n+1): the frames before and behind show either
// alone.
func into(first *ffmpeg.Stream, g Segment, backdrop backdropper) *ffmpeg.Stream {
	n := g.Frames
	if len(g.Into.Moves) > 0 {
		return glide(first, g, backdrop)
	}
	second := scene(g.Into.Scene, g, backdrop)
	// One frame of the first scene more in front, where the weight is 0.
	s := dissolve(frontFrame(first, g), frontFrame(second, g), g, 0, n)
	return setPace(filter(s, "trim", "start_frame=1", "end_frame="+strconv.Itoa(n+1)), g.Rate)
}

// dissolve blends two streams from a frame on over a number of frames.
func dissolve(a, b *ffmpeg.Stream, g Segment, from, frames int) *ffmpeg.Stream {
	offset := "0"
	if from > 0 {
		offset = g.seconds(from)
	}
	return ffmpeg.Filter([]*ffmpeg.Stream{a, b}, "xfade", ffmpeg.Args{
		"transition=fade", "offset=" + offset, "duration=" + g.seconds(frames+1)})
}

// seconds returns how long frames last, as filters read it.
func (g Segment) seconds(frames int) string {
	return strconv.FormatFloat(float64(frames*g.Rate.Den)/float64(g.Rate.Num), 'f', 9, 64)
}

// glide is into for a transition in which tiles glide.
func glide(first *ffmpeg.Stream, g Segment, backdrop backdropper) *ffmpeg.Stream {
	n, t := g.Frames, g.Into
	s := frontFrame(first, g)
	if t.Leave > 0 {
		s = dissolve(s, frontFrame(still(picture(t.Cover, "yuva420p"), n), g), g, 0, t.Leave)
	}
	second := frontFrame(scene(t.Scene, g, backdrop), g)
	if from := n - t.Arrive; from > 0 { // xfade begins with the second's first frame
		second = setRate(filter(second, "trim", "start_frame="+strconv.Itoa(from)), g.Rate)
	}
	s = dissolve(s, second, g, n-t.Arrive, t.Arrive)
	s = setPace(filter(s, "trim", "start_frame=1", "end_frame="+strconv.Itoa(n+1)), g.Rate)
	for _, m := range t.Moves {
		x, y, w, h := m.way(g)
		tile := filter(drawMoving(m, g, backdrop), "scale", "w="+w, "h="+h, "eval=frame", "flags=bicubic+accurate_rnd")
		s = ffmpeg.Filter([]*ffmpeg.Stream{s, tile}, "overlay", ffmpeg.Args{"x=" + x, "y=" + y, "format=yuv420"})
	}
	for i, path := range t.Names {
		if path == "" {
			continue
		}
		way, from, frames := "out", 0, t.Leave
		if i == 1 {
			way, from, frames = "in", n-t.Arrive, t.Arrive
		}
		names := still(picture(path, "yuva420p"), n+1)
		names = filter(names, "fade", "t="+way, "start_frame="+strconv.Itoa(from), "nb_frames="+strconv.Itoa(frames+1),
			"alpha=1")
		names = setPace(filter(filter(names, "trim", "start_frame=1"), "settb", "AVTB"), g.Rate)
		s = setPace(filter(filter(s, "format", "pix_fmts=yuv420p"), "settb", "AVTB"), g.Rate)
		s = ffmpeg.Filter([]*ffmpeg.Stream{s, names}, "overlay", ffmpeg.Args{"format=yuv420"})
	}
	return s
}

// frontFrame repeats the first frame once and gives the stream the constant
// rate that xfade asks for. The last is repeated too: depending on when a stream's end
// reaches xfade, releases before 7.1 show the second one alone in the frame at the end.
func frontFrame(s *ffmpeg.Stream, g Segment) *ffmpeg.Stream {
	s = filter(s, "format", "pix_fmts=yuv420p")
	return setRate(filter(setPace(s, g.Rate), "tpad", "start=1", "start_mode=clone", "stop=1", "stop_mode=clone"),
		g.Rate)
}

// setRate numbers the frames of a stream anew, at a rate that it states. From ffmpeg 7.1
// on setpts leaves a stream's rate unknown, with which xfade refuses it.
func setRate(s *ffmpeg.Stream, r shot.Rate) *ffmpeg.Stream {
	return filter(setPace(s, r), "fps", "fps="+r.String())
}

// drawMoving returns the picture of a gliding tile, of which a part that changes may be
// seen, in some constant size.
func drawMoving(m Move, g Segment, backdrop backdropper) *ffmpeg.Stream {
	p := m.Piece
	if m.Window[0] == m.Window[1] {
		return piece(p, g, backdrop)
	}
	p.Crop = layout.Rect{W: p.W, H: p.H}
	p.Hole = p.Crop
	a, b := m.Window[0], m.Window[1]
	along := func(from, to int) string {
		return fmt.Sprintf("%d+%s*(%d)", from, g.gentle("(on-1)"), to-from)
	}
	left, right := along(a.X, b.X), along(a.Right(), b.Right())
	top, bottom := along(a.Y, b.Y), along(a.Bottom(), b.Bottom())
	return window(piece(p, g, backdrop), left, top, right, bottom)
}

// gentle returns how far gliding tiles have come in a frame, whose number in the
// segment is an expression: from 0 to 1, starting and stopping gently, as
// layout.Between does.
func (g Segment) gentle(frame string) string {
	t := g.Into
	part := fmt.Sprintf("clip((%s+%d)/%d,0,1)", frame, 1-t.Leave, g.Frames-t.Leave-t.Arrive+1)
	return fmt.Sprintf("(%[1]s*%[1]s*(3-2*%[1]s))", part)
}

// way returns m's rectangle as expressions of a frame's time, the same as
// plan.Phases' numbers. Time counts, not the number of the frame: overlay counts
// frames that it has read ahead.
func (m Move) way(g Segment) (x, y, w, h string) {
	gentle := g.gentle(fmt.Sprintf("round(t*%d/%d)", g.Rate.Num, g.Rate.Den))
	edge := func(a, b int) string {
		if a == b {
			return strconv.Itoa(a)
		}
		return fmt.Sprintf("2*floor((%d+%s*(%d))/2+0.5)", a, gentle, b-a)
	}
	a, b := m.From, m.Piece.Hole
	x, y = edge(a.X, b.X), edge(a.Y, b.Y)
	w = fmt.Sprintf("%s-%s", edge(a.Right(), b.Right()), x)
	h = fmt.Sprintf("%s-%s", edge(a.Bottom(), b.Bottom()), y)
	return x, y, w, h
}

// fade darkens the frames of a segment that lie in the film's fades. The
// filter goes by time, so the segment borrows the film's time.
func fade(s *ffmpeg.Stream, g Segment) *ffmpeg.Stream {
	f := g.Fade
	in, out := f.In > 0 && f.At < f.In, f.Out > 0 && f.At+g.Frames > f.Total-f.Out
	if !in && !out {
		return s
	}
	// With an alpha channel the filter would take 0 for black instead of 16.
	s = filter(s, "format", "pix_fmts=yuv420p")
	s = filter(setPace(s, g.Rate), "setpts", fmt.Sprintf("PTS+round(%d*%d/%d/TB)", f.At, g.Rate.Den, g.Rate.Num))
	if in {
		s = filter(s, "fade", "t=in", "st=0", "d="+g.seconds(f.In))
	}
	if out {
		s = filter(s, "fade", "t=out", "st="+g.seconds(f.Total-f.Out), "d="+g.seconds(f.Out))
	}
	return setPace(s, g.Rate)
}
