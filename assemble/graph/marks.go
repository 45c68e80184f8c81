package graph

import (
	"fmt"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/layout/shot"
)

// Marks is a small picture for every frame of a segment, laid over its upper
// right corner: raw grey values, frame after frame.
type Marks struct {
	Path string // empty for none
	W, H int    // even
}

// layMarks lays the marks over the picture.
func layMarks(s *ffmpeg.Stream, m Marks, rate shot.Rate) *ffmpeg.Stream {
	if m.Path == "" {
		return s
	}
	in := ffmpeg.Input(m.Path, ffmpeg.KwArgs{
		"f": "rawvideo", "pixel_format": "gray", "video_size": fmt.Sprintf("%dx%d", m.W,
			m.H), "framerate": rate.String(),
	})
	in = filter(in, "scale", "out_range=tv", "out_color_matrix=bt709")
	in = setPace(filter(in, "format", "pix_fmts=yuv420p"), rate)
	// The picture of a card comes in twenty-fifths of a second, in which two
	// frames can have one time and share a mark.
	s = setPace(filter(s, "settb", "AVTB"), rate)
	return ffmpeg.Filter([]*ffmpeg.Stream{s, in}, "overlay", ffmpeg.Args{"x=W-w", "y=0", "format=yuv420",
		"eof_action=pass"})
}
