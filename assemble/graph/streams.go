package graph

import (
	"fmt"
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/layout/shot"
)

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
