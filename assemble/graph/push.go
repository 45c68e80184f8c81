package graph

import (
	"fmt"

	ffmpeg "github.com/u2takey/ffmpeg-go"
)

// Push is a slow push-in: a picture that becomes larger from frame to frame, evenly,
// about a point of it that keeps its place. The zero value is none.
type Push struct {
	Zoom       float64 // times, in the frame behind the last
	At, Frames int     // of the push-in: frames before the segment, and all of it
	X, Y       float64 // the point, 0 to 1 of the picture
}

// apply lays the push-in over a picture. Whole pixels would tremble, so the picture is
// set anew in each frame.
func (p Push) apply(s *ffmpeg.Stream) *ffmpeg.Stream {
	if p.Zoom == 0 {
		return s
	}
	s = filter(s, "format", "pix_fmts=yuv420p")
	// The share of the picture that is no longer seen. The filter counts from 1.
	gone := fmt.Sprintf("(1-1/(1+%s*(on-1+%d)/%d))", number(p.Zoom-1), p.At, p.Frames)
	edge := func(side string, point float64) (from, to string) {
		return fmt.Sprintf("%s*%s*%s", side, number(point), gone),
			fmt.Sprintf("%s*(1-%s*%s)", side, number(1-point), gone)
	}
	left, right := edge("W", p.X)
	top, bottom := edge("H", p.Y)
	return window(s, left, top, right, bottom)
}

// window shows the part of a picture between edges, which are expressions of a frame's
// number, in the size of the whole.
func window(s *ffmpeg.Stream, left, top, right, bottom string) *ffmpeg.Stream {
	return filter(s, "perspective", "x0="+left, "y0="+top, "x1="+right, "y1="+top,
		"x2="+left, "y2="+bottom, "x3="+right, "y3="+bottom, "interpolation=cubic", "eval=frame")
}
