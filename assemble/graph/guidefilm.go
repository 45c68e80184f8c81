package graph

import (
	"fmt"
	"strconv"

	ffmpeg "github.com/u2takey/ffmpeg-go"

	"ripieno/layout"
	"ripieno/layout/shot"
)

// Inset is a conformed picture that is seen in a guide film.
type Inset struct {
	Path string
	X, Y int // of its corner on the canvas, pixels from the upper left, even
	From int // frame of the film at which its first frame is seen; none is seen before it or after its last
}

// GuideFilm encodes frames of four bytes a pixel, which come through standard input,
// together with a guide's sound, which begins with the first of them. How many there
// are is for the sender to say: a limit here would cut the sound short as well. inset,
// when not nil, is of the same rate and lies over them. It fails only by a bug in the graph.
func GuideFilm(canvas layout.Canvas, rate shot.Rate, wav string, inset *Inset, dst, title string) (Command, error) {
	inputs := 2
	if inset != nil {
		inputs++
	}
	return build(inputs, func() *ffmpeg.Stream {
		pictures := ffmpeg.Input("pipe:0", ffmpeg.KwArgs{"f": "rawvideo", "pixel_format": "rgba",
			"video_size": fmt.Sprintf("%dx%d", canvas.W, canvas.H), "framerate": rate.String()}).Get("0")
		sound := ffmpeg.Input(wav, ffmpeg.KwArgs{"f": "wav"}).Get("0")
		s := filter(pictures, "scale", "out_color_matrix=bt709", "out_range=tv", "flags=accurate_rnd+full_chroma_int")
		s = filter(filter(s, "format", "yuv420p"), "setsar", "sar=1")
		if inset != nil {
			s = inset.over(s, rate)
		}
		args := bt709(plain(ffmpeg.KwArgs{
			"c:v": "libx264", "preset": "veryfast", "crf": "20", "profile:v": "high", "threads": encoderThreads(canvas),
			"g": strconv.Itoa(2 * rate.Frame(1)), "r": rate.String(),
			"video_track_timescale": timescale(rate), "filter_complex_threads": "1",
			"c:a": "aac", "b:a": "160k", "flags:a": "+bitexact", "f": "mp4", "movflags": "+faststart",
		}))
		args["metadata"] = "title=" + title
		return ffmpeg.Output([]*ffmpeg.Stream{s, sound}, dst, args)
	})
}

// over lays the inset over s. Both count whole frames meanwhile, so that no rounding of
// times moves one against the other.
func (i Inset) over(s *ffmpeg.Stream, rate shot.Rate) *ffmpeg.Stream {
	counted := func(s *ffmpeg.Stream, from int) *ffmpeg.Stream {
		s = filter(s, "settb", fmt.Sprintf("expr=%d/%d", rate.Den, rate.Num))
		return filter(s, "setpts", fmt.Sprintf("expr=N+%d", from))
	}
	// A kept picture has the original's mark of rotation, and is upright.
	seen := ffmpeg.Input(i.Path, ffmpeg.KwArgs{"f": "mov", "threads": "1", "noautorotate": ""}).Get("v")
	return ffmpeg.Filter([]*ffmpeg.Stream{counted(s, 0), counted(seen, i.From)}, "overlay",
		ffmpeg.Args{"x=" + strconv.Itoa(i.X), "y=" + strconv.Itoa(i.Y), "eof_action=pass", "repeatlast=0",
			"format=yuv420"})
}
